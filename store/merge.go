package store

import (
	"context"
	"errors"
	"fmt"
	"slices"
	"strings"

	"golang.org/x/sync/errgroup"

	"doorleaf/usage"
)

// Two networks are merged by taking the union of what is kept and deriving again.
//
//   - Sites are the same that have one code and lie within samePlaceM of each other.
//     One code at two places, or two codes at one place, is a question.
//   - Cards are the same that have the same bytes. The earlier import names a card;
//     what only one side knows of it is taken over; two removals are a question. So is
//     a card that one side has withdrawn and the other keeps; see mergewithdrawn.go.
//   - Service calls, rulings and settings are the same that say the same and were made
//     at the same moment. One that was ended on either side is ended.
//   - Where each side has given its own answer to the same thing, two that say the same
//     stand as if given one after the other in one network: the later one stands. Two
//     that differ are a question. What loses stays on record as ended.
//   - What a network says of itself, its name and ways of writing, is its own: it is
//     taken over by a new network that holds nothing, and by no other.
//
// So nothing is lost, merging twice changes nothing, and it does not matter who merges
// whom, except for the answers to questions.

// Ours and Theirs answer a question of which side is right.
const (
	Ours   = "ours"
	Theirs = "theirs"
)

// MergeAnswers are answers to questions of a merge.
type MergeAnswers struct {
	ByKey map[string]string // Question.Key → answer
	Keep  string            // Ours, Theirs or "": the answer to all that these answer and ByKey does not
	Try   bool              // say what it would do, and do nothing
}

// MergeQuestion is something that only a person can decide.
type MergeQuestion struct {
	Key     string // names it in every merge of the same two networks
	Says    string
	Choices []MergeChoice
}

// MergeChoice is one answer to a question. An Answer that ends in «:CODE» wants a
// free code in the place of CODE.
type MergeChoice struct {
	Answer string
	Says   string
}

// Merged says what a merge did. With questions it did nothing.
type Merged struct {
	Questions []MergeQuestion
	Sites     []MergedSite // those that changed, by code
	Unasked   []string     // keys of answers to questions that did not arise
}

// MergedSite is a site that a merge has changed.
type MergedSite struct {
	Code    string
	New     bool
	Cards   int   // gained
	Records int   // service calls, answers, settings gained or ended
	Fields  int   // settings of the site and facts about its cards that changed
	Gained  int64 // openings

	Withdrawn int // cards that the other side had withdrawn
}

// errAsked rolls a merge back that has questions, errTried one that was only tried.
var (
	errAsked = errors.New("questions are open")
	errTried = errors.New("it was only tried")
)

// Merge makes the network hold what the bundle holds as well, in one transaction, and
// derives again what that changes. Where only a person can decide, it changes nothing
// and returns the questions. A bundle that makes no sense is Invalid.
func (s *Store) Merge(ctx context.Context, b *Bundle, answers MergeAnswers) (Merged, error) {
	all, err := layouts(ctx, s.reader)
	if err != nil {
		return Merged{}, err
	}
	theirs, err := b.rows(all)
	if err != nil {
		return Merged{}, err
	}
	packed, err := s.packBundle(ctx, b, theirs["card"])
	if err != nil {
		return Merged{}, err
	}
	m := &merger{ctx: ctx, store: s, bundle: b, all: all, theirs: theirs, packed: packed, answers: answers}
	err = s.write(ctx, func(tx *tx) error {
		m.tx = tx
		return m.merge()
	})
	switch {
	case errors.Is(err, errAsked):
		return Merged{Questions: m.questions}, nil
	case errors.Is(err, errTried):
		return m.done(), nil
	case err != nil && usage.KindOf(err) == 0 && (isConstraint(err) || m.unread && ctx.Err() == nil && sqliteCode(err) == 0):
		return Merged{}, b.fault("holds rows that no network can have", err)
	case err != nil:
		return Merged{}, err
	}
	for _, id := range m.dropped {
		s.texts.forget(id)
	}
	return m.done(), nil
}

// packBundle reads and compresses the cards of a bundle that are not kept yet, before
// the write lock is taken.
func (s *Store) packBundle(ctx context.Context, b *Bundle, cards []record) (map[string]*packedCard, error) {
	packed := map[string]*packedCard{}
	var all errgroup.Group
	all.SetLimit(2)
	for i := range cards {
		r := &cards[i]
		switch _, err := findCard(ctx, s.reader, r.key); {
		case err == nil:
			continue
		case usage.KindOf(err) != usage.NotFound:
			return nil, errors.Join(err, all.Wait())
		}
		p := &packedCard{CardIn: CardIn{Name: r.text("name"), DateOrder: r.text("date_order")}, id: r.key}
		packed[r.key] = p
		all.Go(func() error { return s.packFrom(b, p) })
	}
	return packed, all.Wait()
}

// packFrom reads a card of a bundle and leaves it compressed, with its facts as far as
// it tells them by itself.
func (s *Store) packFrom(b *Bundle, p *packedCard) error {
	if !knownDateOrder(p.DateOrder) {
		return b.fault(fmt.Sprintf("knows a date order %q", shorten(p.DateOrder)), nil)
	}
	data, err := b.card(p.id)
	if err != nil {
		return err
	}
	p.Bytes = data
	if err := s.pack(p, ""); err != nil {
		return b.fault("holds a card that cannot be read", err)
	}
	p.Bytes, p.File = nil, nil
	return nil
}

// merger is one merge on its way.
type merger struct {
	ctx     context.Context
	store   *Store
	tx      *tx
	bundle  *Bundle
	answers MergeAnswers
	all     []layout
	theirs  keptRows
	ours    keptRows
	packed  map[string]*packedCard

	place     map[string]string      // their code of a site → ours
	siteID    map[string]int64       // our code → number
	changed   map[string]*MergedSite // our code
	fresh     map[string]bool        // sites whose every card is to be read again
	asked     map[string]bool        // keys of questions that arose
	questions []MergeQuestion
	unread    bool // what the bundle brought could not be read back

	withdrawnOurs, withdrawnTheirs map[string]map[int64]int // see withdrawals
	dropped                        []string                 // cards that were withdrawn
}

func (m *merger) merge() error {
	var err error
	if m.ours, err = readKept(m.ctx, m.tx, m.all); err != nil {
		return err
	}
	m.place, m.siteID = map[string]string{}, map[string]int64{}
	m.changed, m.fresh, m.asked = map[string]*MergedSite{}, map[string]bool{}, map[string]bool{}
	for i := range m.ours["site"] {
		m.siteID[m.ours["site"][i].key] = m.ours["site"][i].id
	}
	for i := range m.all {
		l := &m.all[i]
		switch {
		case !l.there:
		case l.name == "network":
			err = m.mergeNetwork(l)
		case l.name == "site":
			err = m.mergeSites(l)
		case l.name == "card":
			err = m.mergeCards(l)
		case l.name == "journal":
			err = m.mergeJournal(l)
		default:
			err = m.mergeRecords(l)
		}
		if err != nil {
			return err
		}
	}
	if len(m.questions) > 0 {
		return errAsked
	}
	if err := m.derive(); err != nil || !m.answers.Try {
		return err
	}
	return errTried
}

// ask returns the answer to a question, "" where it is open and was added to the
// questions. valid says whether an answer that was given makes sense.
func (m *merger) ask(q MergeQuestion, valid func(answer string) bool) string {
	m.asked[q.Key] = true
	answer, given := m.answers.ByKey[q.Key]
	if !given && slices.ContainsFunc(q.Choices, func(c MergeChoice) bool { return c.Answer == m.answers.Keep }) {
		answer, given = m.answers.Keep, true
	}
	if given && valid(answer) {
		return answer
	}
	m.questions = append(m.questions, q)
	return ""
}

// askSide asks whose value is right.
func (m *merger) askSide(key, says string, ours, theirs any) string {
	return m.ask(MergeQuestion{Key: key, Says: says, Choices: []MergeChoice{
		{Ours, "ours: " + sideWords(ours)}, {Theirs, "theirs: " + sideWords(theirs)},
	}}, func(a string) bool { return a == Ours || a == Theirs })
}

// sideWords writes a value for a choice.
func sideWords(v any) string {
	if v == nil {
		return "none"
	}
	return cut(fmt.Sprint(v), 120)
}

// at returns the record of what changes in a site of ours.
func (m *merger) at(code string) *MergedSite {
	if m.changed[code] == nil {
		m.changed[code] = &MergedSite{Code: code}
	}
	return m.changed[code]
}

// insert writes a row of theirs and returns its number.
func (m *merger) insert(l *layout, values map[string]any) (int64, error) {
	var names, marks []string
	var args []any
	for name, v := range values {
		names, marks, args = append(names, name), append(marks, "?"), append(args, v)
	}
	done, err := m.tx.ExecContext(m.ctx, `INSERT INTO `+l.name+` (`+strings.Join(names, ", ")+`) VALUES (`+strings.Join(marks, ", ")+`)`, args...)
	if err != nil {
		return 0, fmt.Errorf("keep a row of %s: %w", l.name, err)
	}
	return done.LastInsertId()
}

// update changes columns of a row of ours.
func (m *merger) update(l *layout, where string, id any, values map[string]any) error {
	var sets []string
	var args []any
	for name, v := range values {
		sets, args = append(sets, name+" = ?"), append(args, v)
	}
	_, err := m.tx.ExecContext(m.ctx, `UPDATE `+l.name+` SET `+strings.Join(sets, ", ")+` WHERE `+where+` = ?`, append(args, id)...)
	if err != nil {
		return fmt.Errorf("change a row of %s: %w", l.name, err)
	}
	return nil
}

// derive checks what was brought into each changed site, derives it and writes the
// line of the journal.
func (m *merger) derive() error {
	said := 0
	for _, code := range sortedKeys(m.changed) {
		c := m.changed[code]
		site, err := m.checked(code)
		if m.readBack(err) != nil {
			return err
		}
		which := undatedCard
		if m.fresh[code] {
			which = everyCard
		}
		if err := m.store.readFactsAgain(m.ctx, m.tx, site, which); err != nil {
			return err
		}
		before := int64(0)
		if !c.New {
			if before, err = countOpenings(m.ctx, m.tx, site.id); err != nil {
				return err
			}
		}
		after, err := m.store.deriveSite(m.ctx, m.tx, site)
		if err != nil {
			return err
		}
		c.Gained = after - before
		said++
		if err := m.tx.journal(m.ctx, Entry{Deed: DeedMerged, Site: code, Says: c.words()}); err != nil {
			return err
		}
	}
	return nil
}

// DeedMerged is the journal's word for a merge.
const DeedMerged Deed = "networks merged"

func (c *MergedSite) words() string {
	what := "merged a network into " + c.Code
	if c.New {
		what = "a merged network brought " + c.Code
	}
	what = fmt.Sprintf("%s: %d cards, %d calls, answers and settings, %d facts", what, c.Cards, c.Records, c.Fields)
	if c.Withdrawn > 0 {
		what += fmt.Sprintf(", %d cards withdrawn", c.Withdrawn)
	}
	return what
}

// readBack notes that what the bundle brought cannot be read, if err says so.
func (m *merger) readBack(err error) error {
	m.unread = err != nil
	return err
}

// checked returns a changed site after it and what stands in it were found to make
// sense.
func (m *merger) checked(code string) (keptSite, error) {
	site, err := findSite(m.ctx, m.tx, code)
	if err != nil {
		return site, err
	}
	if err := checkSite(site.Site); err != nil {
		return site, err
	}
	standing, err := calls(m.ctx, m.tx, site.id)
	if err != nil {
		return site, err
	}
	for _, c := range standing {
		if _, err := tidyCall(c, m.tx.now); err != nil {
			return site, err
		}
	}
	answers, err := rulings(m.ctx, m.tx, site.id)
	if err != nil {
		return site, err
	}
	for _, r := range answers {
		if err := checkRuling(r); err != nil {
			return site, err
		}
	}
	power, err := standingPower(m.ctx, m.tx, site.id)
	if err == nil && power != nil {
		err = power.Setting.Check()
	}
	if err != nil {
		return site, err
	}
	_, err = standingCardSetting(m.ctx, m.tx, site.id)
	return site, err
}

func (m *merger) done() Merged {
	var done Merged
	for _, code := range sortedKeys(m.changed) {
		done.Sites = append(done.Sites, *m.changed[code])
	}
	for _, key := range sortedKeys(m.answers.ByKey) {
		if !m.asked[key] {
			done.Unasked = append(done.Unasked, key)
		}
	}
	return done
}

func sortedKeys[V any](m map[string]V) []string {
	keys := make([]string, 0, len(m))
	for k := range m {
		keys = append(keys, k)
	}
	slices.Sort(keys)
	return keys
}
