package chemistry

// The widths, in µm, that several formats share.
const (
	width35  = 34_975 // SMPTE 102-2002, Table 1 (34.975 ± 0.025 mm)
	width16  = 15_950 // SMPTE 109 / ISO 69, from memory (15.95 ± 0.025 mm)
	width8S  = 7_976  // SMPTE 149-2004, Table 1, dimension A (7.976 ± 0.038 mm)
	width110 = 16_000 // 16 mm, encyclopaedia, second-hand
	width12  = 61_000 // about 61 mm, encyclopaedia, second-hand
)

// The sources that several formats share.
const (
	sourceRoll  = "trade area: 80 in², as The Darkroom Cookbook, 3rd ed. 2008, p. 108 counts; "
	source35    = "width: SMPTE 102-2002 Table 1; "
	source16    = "width: from memory (SMPTE 109, 15.95 mm); "
	sourceInch  = "sides: nominal inches"
	source120   = "width about 61 mm and length 81 to 84 cm, taken as 83: encyclopaedia, second-hand"
	sourceShare = "trade area as part of a 135-36: common practice; "
)

func rolls(num, den int64) *int64 {
	a := divHalfUp(RollEquivalentMM2*num, den)
	return &a
}

// builtInFormats are the formats that every lab has.
var builtInFormats = []Format{
	{Code: "135-36", Name: "135, 36 exposures", Kind: Still, WidthUM: width35, LengthMM: 1_620, ReelKind: "spiral-35",
		TradeAreaMM2: rolls(1, 1), Hang: HangStrip, Source: sourceRoll + source35 + "length: from memory (about 1.6 m)"},
	{Code: "135-24", Name: "135, 24 exposures", Kind: Still, WidthUM: width35, LengthMM: 1_150, ReelKind: "spiral-35",
		TradeAreaMM2: rolls(2, 3), Hang: HangStrip, Source: sourceShare + source35 + "length: from memory (about 1.15 m)"},
	{Code: "135-12", Name: "135, 12 exposures", Kind: Still, WidthUM: width35, LengthMM: 680, ReelKind: "spiral-35",
		TradeAreaMM2: rolls(1, 3), Hang: HangStrip, Source: sourceShare + source35 + "length: from memory (0.65 to 0.7 m)"},
	{Code: "135-bulk", Name: "135, cut from bulk", Kind: Still, WidthUM: width35, LengthMM: 1_620, LengthGiven: true, ReelKind: "spiral-35",
		TradeAreaMM2: rolls(1, 1), Hang: HangStrip, Source: sourceShare + source35 + "counted by length against a 135-36"},
	{Code: "120", Name: "120", Kind: Still, WidthUM: width12, LengthMM: 830, ReelKind: "spiral-120",
		TradeAreaMM2: rolls(1, 1), Hang: HangStrip, Source: sourceRoll + source120},
	{Code: "220", Name: "220", Kind: Still, WidthUM: width12, LengthMM: 1_660, ReelKind: "spiral-120",
		TradeAreaMM2: rolls(2, 1), Hang: HangStrip, Source: "trade area: two 120s, second-hand; width and length: about double a 120's, encyclopaedia, second-hand"},
	// Of a sheet the side in whole mm is given as its length, so that the area is exact.
	{Code: "4x5", Name: "4×5 in sheet", Kind: Sheet, WidthUM: 101_600, LengthMM: 127, ReelKind: "holder-4x5",
		TradeAreaMM2: rolls(1, 4), Hang: HangSingle, Source: "trade area: a quarter roll, second-hand; " + sourceInch},
	{Code: "5x7", Name: "5×7 in sheet", Kind: Sheet, WidthUM: 177_800, LengthMM: 127, ReelKind: "holder-5x7",
		TradeAreaMM2: rolls(35, 80), Hang: HangSingle, Source: "trade area: 35 of 80 in²; " + sourceInch},
	{Code: "8x10", Name: "8×10 in sheet", Kind: Sheet, WidthUM: 203_200, LengthMM: 254, ReelKind: "holder-8x10",
		TradeAreaMM2: rolls(1, 1), Hang: HangSingle, Source: sourceRoll + sourceInch},
	{Code: "cine-8-15m", Name: "8 mm Type S, 50 ft load", Kind: Cine, WidthUM: width8S, LengthMM: 15_240, FramesPerFoot: 72, ReelKind: "spiral-8",
		Hang: HangLoop, Source: "width: SMPTE 149-2004 Table 1; length: 50 ft, second-hand; counts as it measures"},
	{Code: "cine-8", Name: "8 mm Type S, any length", Kind: Cine, WidthUM: width8S, LengthMM: 15_240, LengthGiven: true, FramesPerFoot: 72, ReelKind: "spiral-8",
		Hang: HangLoop, Source: "width: SMPTE 149-2004 Table 1; counts as it measures"},
	{Code: "cine-double8", Name: "Double 8, 25 ft spool, unslit", Kind: Cine, WidthUM: width16, LengthMM: 7_620, FramesPerFoot: 160, ReelKind: "spiral-16",
		Hang: HangLoop, Source: source16 + "length: 25 ft, run twice, second-hand; 80 frames a foot in two rows; counts as it measures"},
	{Code: "cine-double8-any", Name: "Double 8, any length, unslit", Kind: Cine, WidthUM: width16, LengthMM: 7_620, LengthGiven: true, FramesPerFoot: 160, ReelKind: "spiral-16",
		Hang: HangLoop, Source: source16 + "80 frames a foot in two rows, second-hand; counts as it measures"},
	{Code: "cine-16-30m", Name: "16 mm, 100 ft spool", Kind: Cine, WidthUM: width16, LengthMM: 30_480, FramesPerFoot: 40, ReelKind: "spiral-16",
		Hang: HangLoop, Source: source16 + "length: 100 ft, second-hand; counts as it measures"},
	{Code: "cine-16-122m", Name: "16 mm, 400 ft core", Kind: Cine, WidthUM: width16, LengthMM: 121_920, FramesPerFoot: 40, ReelKind: "spiral-16",
		Hang: HangLoop, Source: source16 + "length: 400 ft, second-hand; counts as it measures"},
	{Code: "cine-16", Name: "16 mm, any length", Kind: Cine, WidthUM: width16, LengthMM: 30_480, LengthGiven: true, FramesPerFoot: 40, ReelKind: "spiral-16",
		Hang: HangLoop, Source: source16 + "counts as it measures"},
	{Code: "cine-35", Name: "35 mm cine, short end", Kind: Cine, WidthUM: width35, LengthMM: 30_480, LengthGiven: true, FramesPerFoot: 16, ReelKind: "spiral-35-cine",
		Hang: HangLoop, Source: source35 + "four perforations a frame, 16 frames a foot: second-hand; counts as it measures"},
	{Code: "110", Name: "110, 24 exposures", Kind: Still, WidthUM: width110, LengthMM: 666, ReelKind: "spiral-16",
		Hang: HangStrip, Source: "16 mm wide, four frames to 111 mm: encyclopaedia, second-hand (size: ISO 13450:1996); its ends left out; counts as it measures"},
}

// BuiltInFormats are the formats that every lab has, in the order to show them.
func BuiltInFormats() []Format { return append([]Format(nil), builtInFormats...) }
