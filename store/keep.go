package store

import (
	"context"
	"fmt"
	"sync"
	"time"

	"doorleaf/usage"
)

// Receipt says what keeping a card did.
type Receipt struct {
	Card    Card
	Already bool  // the same bytes were kept before: nothing changed but what was told anew of the card
	Told    bool  // and something was
	New     int64 // openings that the site's logbook gained by this call, all cards of the call together
}

// Keep keeps cards of one site and derives the site again, all in one
// transaction: after an error nothing has changed. A card kept before under
// another site is a Conflict. There is a receipt for each card, in order; New
// is the same in all of them, and below nought where cards that contradict
// what was kept make openings fall out.
func (s *Store) Keep(ctx context.Context, code string, cards []CardIn) ([]Receipt, error) {
	all, err := s.packAll(ctx, code, cards)
	if err != nil {
		return nil, err
	}
	var receipts []Receipt
	err = s.write(ctx, func(tx *tx) error {
		site, err := findSite(ctx, tx, code)
		if err != nil {
			return err
		}
		tx.touch(site.Code)
		receipts, err = s.keepAll(ctx, tx, site, all)
		return err
	})
	if err != nil {
		return nil, err
	}
	return receipts, nil
}

func (s *Store) keepAll(ctx context.Context, tx *tx, site keptSite, cards []packedCard) ([]Receipt, error) {
	var receipts []Receipt
	changed, again := false, undatedCard
	for i := range cards {
		r, err := s.keepOne(ctx, tx, site, &cards[i])
		if err != nil {
			return nil, err
		}
		if r.Told {
			again = everyCard // its date order may be told, and with it that of others
		}
		changed = changed || !r.Already || r.Told
		receipts = append(receipts, r)
	}
	gained := int64(0)
	if changed {
		if err := s.readFactsAgain(ctx, tx, site, again); err != nil {
			return nil, err
		}
		before, err := countOpenings(ctx, tx, site.id)
		if err != nil {
			return nil, err
		}
		after, err := s.deriveSite(ctx, tx, site, cards...)
		if err != nil {
			return nil, err
		}
		gained = after - before
	}
	if err := tx.settleFresh(ctx); err != nil {
		return nil, err
	}
	for i := range receipts {
		card, err := findCard(ctx, tx, cards[i].id)
		if err != nil {
			return nil, err
		}
		receipts[i].Card, receipts[i].New = card, gained
	}
	return receipts, nil
}

// keepOne keeps a card, or takes what is told anew of one that is kept already.
func (s *Store) keepOne(ctx context.Context, tx *tx, site keptSite, c *packedCard) (Receipt, error) {
	already, err := s.keepCard(ctx, tx, site, c)
	if err != nil {
		return Receipt{}, err
	}
	if !already {
		return Receipt{}, tx.journal(ctx, Entry{Deed: DeedCardKept, Site: site.Code, Subject: c.id,
			Says: cardSays(fmt.Sprintf("kept card %s, %d rows", c.Name, c.facts.rows), c)})
	}
	told, err := tell(ctx, tx, c)
	if err == nil && told {
		err = tx.journal(ctx, Entry{Deed: DeedCardTold, Site: site.Code, Subject: c.id, Says: cardSays("card "+c.Name+" told anew", c)})
	}
	return Receipt{Already: true, Told: told}, err
}

// cardSays adds to the journal's words what was told of a card.
func cardSays(says string, c *packedCard) string {
	if c.RemovedAt != nil {
		says += ", out at " + instantWords(*c.RemovedAt)
	}
	if c.DateOrder != "" {
		says += ", dates as " + c.DateOrder
	}
	return says
}

// instantWords writes an instant for the journal, in UTC.
func instantWords(at int64) string {
	return time.Unix(at, 0).UTC().Format("2 January 2006, 15:04:05 UTC")
}

// packedCard is a card to be kept with what can be prepared before the write
// lock is taken.
type packedCard struct {
	CardIn
	id    string
	facts facts
	// packed waits for the bytes, compressed, which takes longer than all else that is
	// done with most cards; nil before pack.
	packed func() ([]byte, error)
}

// packAll checks cards and packs those that are not kept yet.
func (s *Store) packAll(ctx context.Context, code string, cards []CardIn) ([]packedCard, error) {
	site, err := findSite(ctx, s.reader, code)
	if err != nil {
		return nil, err
	}
	order, err := siteOrder(ctx, s.reader, site)
	if err != nil {
		return nil, err
	}
	all := make([]packedCard, len(cards))
	for i, c := range cards {
		c.Name = cleanName(c.Name)
		if !knownDateOrder(c.DateOrder) {
			return nil, &usage.Fault{
				Kind: usage.Invalid,
				What: fmt.Sprintf("card %s: there is no date order %q", c.Name, shorten(c.DateOrder)),
				Try:  "use dmy, mdy or ymd, or leave it empty",
			}
		}
		all[i] = packedCard{CardIn: c, id: cardID(c.Bytes)}
		_, err := findCard(ctx, s.reader, all[i].id)
		if err == nil {
			continue
		}
		if usage.KindOf(err) != usage.NotFound {
			return nil, err
		}
		if err := s.pack(&all[i], order); err != nil {
			return nil, err
		}
	}
	return all, nil
}

// pack reads a card and begins to compress it. order is the site's.
func (s *Store) pack(c *packedCard, order string) (err error) {
	c.packed = compressAside(c.Bytes)
	if c.File, err = s.engine.file(c.CardIn); err == nil { // once: see lend
		c.facts, err = s.engine.readFacts(c.CardIn, order)
	}
	if err != nil {
		return fmt.Errorf("card %s: %w", c.Name, err)
	}
	return nil
}

// compressAside begins to compress and returns what waits for the end of it.
func compressAside(plain []byte) func() ([]byte, error) {
	type answer struct {
		packed []byte
		err    error
	}
	done := make(chan answer, 1)
	go func() {
		packed, err := compress(plain)
		done <- answer{packed, err}
	}()
	return sync.OnceValues(func() ([]byte, error) {
		a := <-done
		return a.packed, a.err
	})
}

// settleFresh writes the bytes of the cards kept in the transaction, which were being
// compressed while their site was derived.
func (t *tx) settleFresh(ctx context.Context) error {
	for _, c := range t.fresh {
		body, err := c.packed()
		if err == nil {
			_, err = t.ExecContext(ctx, `UPDATE card SET body = ? WHERE id = ?`, body, c.id)
		}
		if err != nil {
			return fmt.Errorf("keep the bytes of card %s: %w", c.Name, err)
		}
	}
	t.fresh = nil
	return nil
}

// tell adds to a kept card what its bringer knows now and did not say before:
// when it came out, and in which order its dates are written. Silence takes
// nothing away.
func tell(ctx context.Context, tx *tx, c *packedCard) (told bool, err error) {
	res, err := tx.ExecContext(ctx, `
		UPDATE card
		SET removed_at = coalesce(?2, removed_at), removed_exact = iif(?2 IS NULL, removed_exact, ?4),
			date_order = coalesce(nullif(?3, ''), date_order)
		WHERE id = ?1
			AND (removed_at, removed_exact, date_order)
				IS NOT (coalesce(?2, removed_at), iif(?2 IS NULL, removed_exact, ?4), coalesce(nullif(?3, ''), date_order))`,
		c.id, c.RemovedAt, c.DateOrder, c.RemovedExact)
	if err != nil {
		return false, fmt.Errorf("tell card %s: %w", c.Name, err)
	}
	n, err := res.RowsAffected()
	return n > 0, err
}

// keepCard writes the row of a card unless it is there already.
func (s *Store) keepCard(ctx context.Context, tx *tx, site keptSite, c *packedCard) (already bool, err error) {
	switch kept, err := findCard(ctx, tx, c.id); {
	case err == nil && kept.Site != site.Code:
		return false, &usage.Fault{
			Kind: usage.Conflict,
			What: fmt.Sprintf("card %s holds the same bytes as card %s of site %s", c.Name, kept.Name, kept.Site),
			Try:  fmt.Sprintf("keep it under %s, or withdraw it there first", kept.Site),
		}
	case err == nil:
		return true, nil // see tell
	case usage.KindOf(err) != usage.NotFound:
		return false, err
	}
	if c.packed == nil { // it was withdrawn since it was packed
		if err := s.pack(c, site.Profile.DateOrder); err != nil {
			return false, err
		}
	}
	f := c.facts
	_, err = tx.ExecContext(ctx, `
		INSERT INTO card (id, site, name, size, imported_at, removed_at, removed_exact, date_order,
			encoding, file_order, lines, rows, complaints, first_reading, last_reading, sketch, body)
		VALUES (?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?)`,
		c.id, site.id, c.Name, f.size, tx.now, c.RemovedAt, c.RemovedExact, c.DateOrder,
		f.encoding, f.order, f.lines, f.rows, f.complaints, f.first, f.last, f.sketch, []byte{})
	if err != nil {
		return false, fmt.Errorf("keep card %s: %w", c.Name, err)
	}
	tx.fresh = append(tx.fresh, c)
	return false, nil
}

// Withdraw takes a kept card away again and derives its site without it. What
// is derived is then as if the card had never been kept.
func (s *Store) Withdraw(ctx context.Context, id string) error {
	err := s.write(ctx, func(tx *tx) error {
		card, err := findCard(ctx, tx, id)
		if err != nil {
			return err
		}
		site, err := findSite(ctx, tx, card.Site)
		if err != nil {
			return err
		}
		tx.touch(site.Code)
		if _, err := tx.ExecContext(ctx, `DELETE FROM card WHERE id = ?`, id); err != nil {
			return fmt.Errorf("withdraw card %s: %w", id, err)
		}
		if err := tx.journal(ctx, Entry{Deed: DeedWithdrawn, Site: site.Code, Subject: id, Says: fmt.Sprintf("withdrew card %s, %d rows", card.Name, card.Rows)}); err != nil {
			return err
		}
		_, err = s.deriveSite(ctx, tx, site)
		return err
	})
	if err != nil {
		return err
	}
	s.texts.forget(id)
	return nil
}

// Rebuild derives one site again from what is kept, or all sites if code is "".
// It calls done, which may be nil, after each site. Each site is a transaction
// of its own: after an error the sites before it stand as rebuilt. Service calls
// and rulings are among what is kept.
func (s *Store) Rebuild(ctx context.Context, code string, done func(code string)) error {
	codes := []string{code}
	if code == "" {
		var err error
		codes, err = siteCodes(ctx, s.reader)
		if err != nil {
			return err
		}
	}
	for _, code := range codes {
		if err := s.rebuildSite(ctx, code); err != nil {
			return fmt.Errorf("rebuild %s: %w", code, err)
		}
		if done != nil {
			done(code)
		}
	}
	return nil
}

func (s *Store) rebuildSite(ctx context.Context, code string) error {
	return s.write(ctx, func(tx *tx) error {
		site, err := findSite(ctx, tx, code)
		if err != nil {
			return err
		}
		tx.touch(site.Code)
		// Twice, since a better importer may find the date order of one card, and
		// with it that of others.
		for _, which := range []string{everyCard, undatedCard} {
			if err := s.readFactsAgain(ctx, tx, site, which); err != nil {
				return err
			}
		}
		if _, err = s.deriveSite(ctx, tx, site); err != nil {
			return err
		}
		return unmark(ctx, tx, site.id)
	})
}
