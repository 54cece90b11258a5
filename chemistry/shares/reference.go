package shares

import (
	"crypto/sha256"
	"encoding/base32"
	"fmt"
	"math/big"
	"strings"
)

// Reference is what a payment from one party of a lab to another is known by:
// a creditor reference of ISO 11649, "RF", two check digits and thirteen
// letters and digits, the same for the same parties each time. Banks check it
// where it is typed, and it tells nobody who the parties are.
func Reference(labID, from, to string) string {
	hash := sha256.Sum256([]byte(labID + "\x00" + from + "\x00" + to))
	text := strings.TrimRight(base32.StdEncoding.EncodeToString(hash[:8]), "=")
	return fmt.Sprintf("RF%02d%s", 98-mod97(text+"RF00"), text)
}

// CheckReference says whether text is a creditor reference whose check digits
// are right. Blanks do not matter.
func CheckReference(text string) bool {
	text = strings.ToUpper(strings.ReplaceAll(text, " ", ""))
	if len(text) < 5 || len(text) > 25 || !strings.HasPrefix(text, "RF") {
		return false
	}
	return mod97(text[4:]+text[:4]) == 1
}

// mod97 is the remainder of the digits that letters and digits stand for,
// A being 10 and Z 35 (ISO 7064, MOD 97-10); of other characters it is 0.
func mod97(text string) int64 {
	var digits strings.Builder
	for _, c := range text {
		switch {
		case c >= '0' && c <= '9':
			digits.WriteRune(c)
		case c >= 'A' && c <= 'Z':
			fmt.Fprintf(&digits, "%d", c-'A'+10)
		default:
			return 0
		}
	}
	n, ok := new(big.Int).SetString(digits.String(), 10)
	if !ok {
		return 0
	}
	return n.Mod(n, big.NewInt(97)).Int64()
}
