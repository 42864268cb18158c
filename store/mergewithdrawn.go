package store

import "fmt"

// A card that one side keeps and the other has withdrawn is a question, unless the side
// that keeps it knows of the withdrawal: then somebody brought it in again since, and
// it is kept. Neither a withdrawal nor a card is ever taken over unasked, since the
// one undoes what a person did and the other drops bytes that nobody else may have.
//
// The journal tells of withdrawals; it is kept, and merged like all that is kept.

// withdrawals counts the withdrawals that a side's journal tells of, by card and
// moment.
func withdrawals(journal []record) map[string]map[int64]int {
	all := map[string]map[int64]int{}
	for i := range journal {
		r := &journal[i]
		if r.text("kind") != string(DeedWithdrawn) {
			continue
		}
		id := r.text("subject")
		if all[id] == nil {
			all[id] = map[int64]int{}
		}
		at, _ := r.number("at")
		all[id][at]++
	}
	return all
}

// unknown returns the latest withdrawal of a card, out of one side's, that the other
// side does not know of.
func unknown(told, known map[string]map[int64]int, id string) (latest int64, is bool) {
	for at, n := range told[id] {
		if n > known[id][at] && (!is || at > latest) {
			latest, is = at, true
		}
	}
	return latest, is
}

// staysWithdrawn reports whether a card of theirs that we have withdrawn stays so.
func (m *merger) staysWithdrawn(t *record, code string) bool {
	at, is := unknown(m.withdrawnOurs, m.withdrawnTheirs, t.key)
	if !is {
		return false
	}
	says := fmt.Sprintf("card %s (%.12s) was withdrawn here on %s, and the other network keeps it under %s", t.text("name"), t.key, instantWords(at), code)
	return m.askSide(withdrawnQuestion(t), says, "it stays withdrawn", "it is kept again") != Theirs
}

func withdrawnQuestion(r *record) string { return "card." + r.key[:12] + ".withdrawn" }

// dropCards withdraws our cards that they have withdrawn, where the answer says so.
func (m *merger) dropCards(theirs map[string]bool) error {
	for i := range m.ours["card"] {
		o := &m.ours["card"][i]
		at, is := unknown(m.withdrawnTheirs, m.withdrawnOurs, o.key)
		if !is || theirs[o.key] {
			continue
		}
		code := o.text("site")
		says := fmt.Sprintf("card %s (%.12s) of %s was withdrawn in the other network on %s, and is kept here", o.text("name"), o.key, code, instantWords(at))
		if m.askSide(withdrawnQuestion(o), says, "it is kept", "it is withdrawn here as well") != Theirs {
			continue
		}
		if _, err := m.tx.ExecContext(m.ctx, `DELETE FROM card WHERE id = ?`, o.key); err != nil {
			return fmt.Errorf("withdraw card %s: %w", o.key, err)
		}
		m.at(code).Withdrawn++
		m.dropped = append(m.dropped, o.key)
	}
	return nil
}
