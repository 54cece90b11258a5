package chemistry

import "slices"

// SafetyFirst closes every list of cautions.
const SafetyFirst = "These lines replace nothing: the supplier's safety data sheet, local codes and licensed practice come first."

// generalCautions hold for every bath.
var generalCautions = []string{
	"Wear nitrile or neoprene gloves and eye protection; goggles when mixing (Kodak J-300).",
	"Ventilate: at least ten changes of air an hour in a work room (EPA household page quoting Kodak).",
	"Never mix baths, nor use one's funnel, jug or bottle for another.",
}

// roleCautions hold for the baths of a role.
var roleCautions = map[string][]string{
	"first-developer":  {cautionDeveloper},
	"colour-developer": {cautionDeveloper, cautionColour},
	"developer":        {cautionDeveloper},
	"stop":             {cautionAcid},
	"pre-bleach":       {cautionFoam},
	"bleach":           {cautionBleach, cautionCarry},
	"bleach-fix":       {cautionBleach, cautionFixer, cautionCarry, cautionSilver},
	"fixer":            {cautionFixer, cautionCarry, cautionSilver},
	"stabiliser":       {cautionFoam, cautionSilver},
	"wetting-agent":    {cautionFoam},
}

const (
	cautionDeveloper = "Developers sensitise the skin: no bare hands, no powder in the air."
	cautionColour    = "Colour developing agents are worse for the skin than most: wash at once what they touch."
	cautionAcid      = "Add acid to water, never water to acid."
	cautionBleach    = "Keep acids and household bleach away from the bleach: some bleaches give off toxic gas with them (from memory)."
	cautionFixer     = "Keep acids and household bleach away from the fixer: it gives off sulphur dioxide, or worse, with them."
	cautionCarry     = "A drop of it carried back ruins a developer: keep its jugs and reels apart (common practice)."
	cautionSilver    = "Used, it bears silver: recover or hand it in, never to the drain or a septic tank (US 40 CFR 261.24: 5 mg/L; local limits may be lower)."
	cautionFoam      = "It foams: by hand, outside the tank, and rinse the reels before they are used again (common practice)."
)

// CautionHeat goes with anything that is worked warm.
const CautionHeat = "Warm baths give off more: keep lids on, and hands off the heater."

// BathCautions are the cautions on baths of the roles, each once, with the
// general ones first and SafetyFirst last. A role that the table does not know
// has the general ones.
func BathCautions(roles ...string) []string {
	return gather(roles)
}

// AllCautions are the cautions on running the process: its own, those of its
// baths, of heat where it is warm, and SafetyFirst last.
func (p Process) AllCautions() []string {
	own := p.Cautions
	if p.WorkingTemperature() > warm {
		own = append(slices.Clone(own), CautionHeat)
	}
	return gather(p.Roles(), own...)
}

// warm is what solutions are called above: 30 °C, as developers give off more
// from there; common practice.
const warm = 30_000

// RoleCautions are the cautions on one step's bath alone, beyond the general ones.
func RoleCautions(role string) []string { return slices.Clone(roleCautions[role]) }

func gather(roles []string, own ...string) []string {
	out := slices.Clone(generalCautions)
	add := func(lines []string) {
		for _, l := range lines {
			if !slices.Contains(out, l) {
				out = append(out, l)
			}
		}
	}
	for _, r := range roles {
		add(roleCautions[r])
	}
	add(own)
	return append(out, SafetyFirst)
}
