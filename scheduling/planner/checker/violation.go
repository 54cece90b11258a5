package checker

import (
	"fmt"
	"strings"
)

// A Violation is one rule broken, and where.
type Violation struct {
	// Rule is its number in the documentation of package planner; 0 is the
	// plan's shape and 9 its claimed worth.
	Rule int    `json:"rule"`
	Name string `json:"name"`
	// Batch and Roll say where; empty when it is the plan as a whole.
	Batch  string `json:"batch,omitempty"`
	Roll   string `json:"roll,omitempty"`
	Detail string `json:"detail"`
}

// String is one line, such as
// "rule 2 fit: batch b3: reels stack to 212 mm, tank small-tank takes 180 mm".
func (v Violation) String() string {
	var b strings.Builder
	fmt.Fprintf(&b, "rule %d %s: ", v.Rule, v.Name)
	if v.Batch != "" {
		fmt.Fprintf(&b, "batch %s: ", v.Batch)
	}
	if v.Roll != "" {
		fmt.Fprintf(&b, "roll %s: ", v.Roll)
	}
	b.WriteString(v.Detail)
	return strings.NewReplacer("\n", `\n`, "\r", `\r`).Replace(b.String())
}

// The rules' numbers.
const (
	ruleShape = iota
	ruleClass
	ruleFit
	ruleCapacity
	ruleLife
	ruleReels
	ruleTime
	ruleDrying
	ruleHolds
	ruleWorth
)

var ruleNames = [...]string{
	"shape", "class", "fit", "capacity", "life", "reels", "time", "drying", "holds", "worth",
}
