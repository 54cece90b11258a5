package chemistry

var what = []string{"what", "figure", "source"}

// factTables are what is looked up and not reckoned.
var factTables = []HandbookTable{
	{Code: "black-and-white-capacity", Title: "Black-and-white: re-use and replenishment", Status: FromMemory,
		Source: "each line's own", Columns: what, Rows: [][]string{
			{"general film developer, topped up", "about 20 mL a roll, about what is carried out", "notes on replenishment, second-hand"},
			{"T-MAX RS", "44.4 mL (1.5 US fl oz) a roll; at 1+4 that is 8.9 mL of concentrate", "Kodak J-86, second-hand"},
			{"ID-11, D-76 stock, re-used", "+10 % of the time a film, 10 films a litre", memory},
			{"XTOL", "70 mL of replenisher a roll; at least 100 mL of stock a roll", memory},
			{"R09, one-shot", "at least 5 to 10 mL of concentrate a roll", memory},
			{"acid stop bath", "12 rolls a litre, not above 27 °C", "The Darkroom Cookbook, 3rd ed. 2008, p. 268"},
			{"working fixer", "two months at most, less above 29 °C; out when yellow or with a white precipitate", "The Darkroom Cookbook, p. 108"},
			{"rapid fixer at 1+4", "about 20 rolls a litre", "notes on photography, second-hand"},
		}},
	{Code: "colour-negative-use", Title: "Colour negative: use of the baths", Status: SecondHand,
		Source: "each line's own", Columns: what, Rows: [][]string{
			{"film in one batch", "at most 3.2 rolls a litre at once (16 in 5 L)", "notes on photography, second-hand"},
			{"standing two days", "3 % of the tank as developer replenisher: " + decimal(AgeingTopUpTenthsML(gallonTenthsML), 1) + " mL to a US gallon", "US Army SS0514, p. 2-15"},
			{"bleach", "aerate for 30 minutes before each run; it cannot be aerated too much", "US Army SS0514, p. 2-15"},
			{"kits", "8 to 16 rolls a litre by film speed; many stop at 8", practice},
			{"developer, cine (ECN-2)", "pH 10.25 ± 0.05", "notes from Kodak H-24.07, second-hand"},
		}},
	{Code: "drying", Title: "Drying", Status: Published, Source: "each line's own", Columns: what, Rows: [][]string{
		{"cabinet", "35 °C, 40 to 50 % relative humidity, 15 to 20 minutes", "Kodak TI2497 (1999), note 4"},
		{"colour negative", "not above 60 °C", "Kodak Z-131, Table 2-1, second-hand"},
		{"hot air in the field", "below 51.7 °C (125 °F)", "US Army SS0573"},
		{"hung in a room", "about an hour, clipped top and bottom", "handicraft text, second-hand"},
	}},
	{Code: "washing-ways", Title: "Ways of washing black-and-white film", Status: Published, Source: "each line's own", Columns: what, Rows: [][]string{
		{"running water", "20 minutes, a full change every 3", "NAVEDTRA 14209"},
		{"sheets without a clearing agent", "30 minutes", "US Army SS0509, p. 20"},
		{"with an eliminator", "rinse 0:30, eliminator 2:00, wash 5:00, wetting agent 1:00", "US Army SS0509, p. 18"},
		{"three changes", "invert 5, 10 and 20 times, draining between", "card naming Ilford, second-hand"},
		{"thiosulfate left, microfilm", "at most 1.4 µg/cm² (0.014 g/m²)", "note on ISO 18917:1999, second-hand"},
	}},
	{Code: "effluent", Title: "Waste: local codes come first", Status: Published, Source: "each line's own", Columns: what, Rows: [][]string{
		{"silver, by TCLP", "5 mg/L (D011); used fixer may hold 3,000 to 5,000", "US 40 CFR 261.24, second-hand"},
		{"never to the drain", "used fixer, bleach-fix, stabiliser", "effluent guidance"},
		{"septic tanks", "not recommended for any", "effluent guidance"},
		{"work rooms", "at least 10 changes of air an hour", "EPA household page quoting Kodak"},
		{"a lab that takes fees", "is no amateur: workplace and waste rules come in", "Kodak J-300 (1999)"},
		{"eyes", "rinse 15 minutes at least, then a doctor", "McCann, Photographic Processing Hazards"},
	}},
	{Code: "stores", Title: "Keeping film and chemicals", Status: Published, Source: "each line's own", Columns: what, Rows: [][]string{
		{"unmixed chemicals", "about 24 °C and 40 % relative humidity, dated, oldest first", "NAVEDTRA 14209, p. 9-1"},
		{"mixed developer", "full, squeezed or bead-topped bottles about double its life against half-full ones", practice},
		{"unexposed cine stock", "13 °C at most, for up to 6 months", "Kodak text on cine stock"},
		{"exposed film", "process promptly; a few days in a refrigerator is tolerable", "Kodak Alaris CIS-2017-1"},
	}},
}
