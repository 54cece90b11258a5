package chemistry_test

import (
	"errors"
	"io"
	"slices"
	"testing"

	"wetside/chemistry"
	"wetside/lab"
)

func TestAreasByTheLabsRule(t *testing.T) {
	t.Parallel()
	a := format(t, "135-36").Areas(1_620)
	if a.By(lab.TradeArea) != 51_613 || a.By(lab.GeometricArea) != 56_660 {
		t.Errorf("%d by trade, %d by geometry", a.By(lab.TradeArea), a.By(lab.GeometricArea))
	}
}

func TestFaultsBecomeRefusals(t *testing.T) {
	t.Parallel()
	_, err := process(t, "c-41").Developing(3, nil)
	var r *lab.Refusal
	if !errors.As(chemistry.AsRefusal("/roll", err), &r) || r.Kind != lab.Invalid || r.Code != "invalid" ||
		len(r.Faults) != 1 || r.Faults[0].Pointer != "/roll/push" || r.Faults[0].Code != "push-not-in-table" {
		t.Errorf("%+v", r)
	}
	if chemistry.AsRefusal("", nil) != nil || !errors.Is(chemistry.AsRefusal("", io.EOF), io.EOF) {
		t.Error("what is no fault stays what it is")
	}
}

func TestBathsOfASchedule(t *testing.T) {
	t.Parallel()
	p := process(t, "reversal-3")
	var roles []string
	for _, s := range p.Schedule(0, ms(6, 0), nil).Baths() {
		roles = append(roles, s.Step.Role)
		if s.Step.Role == "bleach-fix" && s.Begins != ms(15, 0) {
			t.Errorf("the bleach-fix begins at %s, want 15:00", s.Begins)
		}
	}
	if !slices.Equal(roles, p.Roles()) {
		t.Errorf("%v, want %v", roles, p.Roles())
	}
}

func TestCautionsOfOneStep(t *testing.T) {
	t.Parallel()
	if got := chemistry.RoleCautions("bleach-fix"); len(got) != 4 {
		t.Errorf("%q", got)
	}
	if got := chemistry.RoleCautions("wash"); len(got) != 0 {
		t.Errorf("of water: %q", got)
	}
}
