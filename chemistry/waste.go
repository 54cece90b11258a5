package chemistry

// A WasteKind is what sort of waste a discarded solution is.
type WasteKind string

// The kinds of waste.
const (
	SilverBearing  WasteKind = "silver_bearing"
	DeveloperWaste WasteKind = "developer"
	BleachWaste    WasteKind = "bleach"
	OtherWaste     WasteKind = "other"
)

// Known says whether k is one of the kinds.
func (k WasteKind) Known() bool {
	return k == SilverBearing || k == DeveloperWaste || k == BleachWaste || k == OtherWaste
}

// WasteOf is the kind of waste that a role's used bath is: fixers, bleach-fix
// and stabilisers bear silver (effluent guidance; 40 CFR 261.24 sets 5 mg/L).
func WasteOf(role string) WasteKind {
	switch {
	case role == "fixer" || role == "bleach-fix" || role == "stabiliser":
		return SilverBearing
	case Oxidises(role):
		return DeveloperWaste
	case role == "bleach":
		return BleachWaste
	}
	return OtherWaste
}

// An Incompatibility is two things that must not come together.
type Incompatibility struct {
	One     string `json:"one"`
	Other   string `json:"other"`
	Because string `json:"because"`
	Source  string `json:"source"`
}

// Incompatibilities are what must not be mixed. The list is not whole: data
// sheets and local codes come first.
func Incompatibilities() []Incompatibility {
	const chemistry = "ordinary chemistry, from memory"
	return []Incompatibility{
		{"acid or stop bath", "fixer, or anything with sulfite", "gives off sulphur dioxide", "Kodak H-24.09 (2006), of developer carried into the stop; otherwise " + chemistry},
		{"acid, above all with heat", "ferricyanide bleach", "can give off hydrogen cyanide", chemistry},
		{"household (hypochlorite) bleach", "fixer, ammonia or acid", "gives off toxic gas", chemistry},
		{"permanganate or dichromate bleach", "developer or other organic matter", "oxidises violently", chemistry},
		{"dry chemicals", "one another, before each is dissolved", "toxic gas is possible", "Kodak Module 9, p. 9-19"},
		{"water", "concentrated acid: pour the acid into the water", "boils and spatters", "mixing guidance, second-hand"},
		{"bleach or fixer", "developer, even a drop carried back", "ruins the developer", practice},
		{"what is left of a used bath", "its stock bottle", "spoils the stock", practice},
		{"film with a carbon backing", "baths shared with other film", "the carbon stays in the bath", practice},
	}
}
