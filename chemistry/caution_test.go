package chemistry_test

import (
	"slices"
	"strings"
	"testing"

	"wetside/chemistry"
)

// What the design asks of every answer about chemistry.
func TestCautionsOfProcesses(t *testing.T) {
	t.Parallel()
	for _, p := range chemistry.BuiltInProcesses() {
		lines := p.AllCautions()
		all := strings.Join(lines, "\n")
		for _, word := range []string{"gloves", "eye protection", "Ventilate", "Never mix baths", "acids", "silver", "It foams: by hand"} {
			if !strings.Contains(all, word) {
				t.Errorf("%s says nothing of %q", p.Code, word)
			}
		}
		if warm := slices.Contains(lines, chemistry.CautionHeat); warm == p.Kind.BlackAndWhite() {
			t.Errorf("%s: caution on heat %v", p.Code, warm)
		}
		if lines[len(lines)-1] != chemistry.SafetyFirst {
			t.Errorf("%s does not end with what comes first", p.Code)
		}
		slices.Sort(lines)
		if len(slices.Compact(lines)) != len(p.AllCautions()) {
			t.Errorf("%s repeats itself", p.Code)
		}
	}
}

func TestCautionsOfAnUnknownBath(t *testing.T) {
	t.Parallel()
	lines := chemistry.BathCautions("toner")
	if len(lines) != 4 || lines[3] != chemistry.SafetyFirst {
		t.Errorf("%q", lines)
	}
}
