package usage

import "testing"

func TestPressing(t *testing.T) {
	for kind, want := range map[string]bool{KindQuiet: true, "clock stopped": true, "bad rows": true, KindAjar: false, KindRattle: false, KindChange: false} {
		if got := (Finding{Kind: kind}).Pressing(); got != want {
			t.Errorf("a finding %q is pressing: %t, want %t", kind, got, want)
		}
	}
}
