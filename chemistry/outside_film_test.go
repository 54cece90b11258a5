package chemistry_test

import (
	"testing"

	"wetside/chemistry"
	"wetside/lab/units"
)

func outsideFilm(t *testing.T) []outside {
	const (
		six    = "second-hand: 80 in² = one 135-36 = one 120 = half a 220 = four 4×5 = one 8×10"
		foot   = "encyclopaedia and a published running-time table, second-hand"
		table  = "published running-time table (T = 262.5·L/fps, 236.2·L/fps), second-hand; it holds to ± 1 s"
		derive = "width × length of the sources beside it"
	)
	roll := int64(chemistry.RollEquivalentMM2)
	checks := []outside{
		{"The Darkroom Cookbook, 3rd ed. 2008, p. 108; definition of the inch", "80 in² in mm²", roll, 51_613, 0},
		{six, "trade area of a 135-36, mm²", area(t, "135-36", 0).Trade, roll, 0},
		{six, "trade area of a 120, mm²", area(t, "120", 0).Trade, roll, 0},
		{six, "trade area of half a 220, mm²", area(t, "220", 0).Trade / 2, roll, 0},
		{six, "trade area of four 4×5 in sheets, mm²", 4 * area(t, "4x5", 0).Trade, roll, 2},
		{six, "trade area of an 8×10 in sheet, mm²", area(t, "8x10", 0).Trade, roll, 0},
		{"common practice", "a 135-24 in thousandths of a 135-36", area(t, "135-24", 0).Trade * 1000 / roll, 667, 1},
		{"common practice", "a 135-12 in thousandths of a 135-36", area(t, "135-12", 0).Trade * 1000 / roll, 333, 1},
		{"SMPTE 149-2004, Table 1, dimension A (± 0.038)", "width of 8 mm Type S, µm", format(t, "cine-8-15m").WidthUM, 7_976, 0},
		{"SMPTE 102-2002, Table 1 (± 0.025)", "width of 35 mm, µm", format(t, "cine-35").WidthUM, 34_975, 0},
		{"from memory (SMPTE 109, ISO 69)", "width of 16 mm, µm", format(t, "cine-16").WidthUM, 15_950, 0},
		{"encyclopaedia, second-hand", "width of 120, µm", format(t, "120").WidthUM, 61_000, 1_000},
		{"encyclopaedia, second-hand", "width of 110, µm", format(t, "110").WidthUM, 16_000, 0},
		{"encyclopaedia, second-hand: four frames are 111 mm", "24 frames of 110, mm", format(t, "110").LengthMM, 6 * 111, 0},
		{derive, "geometric area of 50 ft of 8 mm Type S, mm²", area(t, "cine-8-15m", 0).Geometric, 121_600, 100},
		{derive, "geometric area of 25 ft of double 8, mm²", area(t, "cine-double8", 0).Geometric, 121_500, 100},
		{derive, "geometric area of 100 ft of 16 mm, mm²", area(t, "cine-16-30m", 0).Geometric, 486_200, 100},
		{derive, "geometric area of 400 ft of 16 mm, mm²", area(t, "cine-16-122m", 0).Geometric, 1_945_000, 500},
		{derive, "geometric area of 100 ft of 35 mm, mm²", area(t, "cine-35", 30_480).Geometric, 1_066_000, 500},
		{derive, "geometric area of a 5×7 in sheet, mm²", area(t, "5x7", 0).Geometric, 22_580, 5},
		{foot, "frames a foot, 8 mm Type S", format(t, "cine-8").FramesPerFoot, 72, 0},
		{foot, "frames a foot, double 8, one of its two rows", format(t, "cine-double8").FramesPerFoot / 2, 80, 0},
		{foot, "frames a foot, 16 mm", format(t, "cine-16").FramesPerFoot, 40, 0},
		{foot, "frames a foot, 35 mm", format(t, "cine-35").FramesPerFoot, 16, 0},
		{"SMPTE 149-2004, dimension B: 4.234 mm a frame", "a foot of 8 mm Type S by its pitch, hundredths of a frame", 30_480_000 / 4_234, 7_200, 2},
		{"SMPTE 239-2004, §1: 3.810 mm a frame", "a foot of double 8 by its pitch, hundredths of a frame", 30_480_000 / 3_810, 8_000, 0},
		{"reckoned from 72 frames a foot", "frames on 50 ft of 8 mm Type S", format(t, "cine-8-15m").Frames(15_240), 3_600, 0},
		{"reckoned from 80 frames a foot, run twice", "frames on 25 ft of double 8", format(t, "cine-double8").Frames(7_620), 4_000, 0},
		{"reckoned from 40 frames a foot", "frames on 400 ft of 16 mm", format(t, "cine-16-122m").Frames(121_920), 16_000, 0},
		{"reckoned from 16 frames a foot", "frames on 1,000 ft of 35 mm", format(t, "cine-35").Frames(304_800), 16_000, 0},
		{table, "90 m of double 8's 8 mm need, mm, for 1,477 s at 16 fps", format(t, "cine-double8").LengthFor(1_477, 16) * 2, 90_000, 60},
		{table, "8 mm Type S for 15 minutes at 18 fps, mm", format(t, "cine-8").LengthFor(15*units.Minute, 18), 68_600, 50},
	}
	for _, r := range []struct {
		source, what, code string
		mm, fps            int64
		want               units.Duration
		within             int64
	}{
		{foot, "50 ft of 8 mm Type S at 18 fps", "cine-8", 15_240, 18, 200, 0},
		{foot, "50 ft of 8 mm Type S at 24 fps", "cine-8", 15_240, 24, 150, 0},
		{foot, "25 ft of double 8 at 16 fps", "cine-double8", 7_620, 16, 250, 0},
		{foot, "100 ft of 16 mm at 24 fps", "cine-16", 30_480, 24, 167, 0},
		{foot, "400 ft of 16 mm at 24 fps", "cine-16", 121_920, 24, 667, 0},
		{foot, "400 ft of 35 mm at 24 fps", "cine-35", 121_920, 24, 267, 0},
		{foot, "1,000 ft of 35 mm at 24 fps", "cine-35", 304_800, 24, 667, 0},
		{"film foot, encyclopaedia, second-hand: 90 ft a minute", "90 ft of 35 mm at 24 fps", "cine-35", 27_432, 24, 60, 0},
		{"film foot, encyclopaedia, second-hand: 36 ft a minute", "36 ft of 16 mm at 24 fps", "cine-16", 10_973, 24, 60, 0},
		{"frames a foot over 25 fps, television's rate", "100 ft of 16 mm at 25 fps", "cine-16", 30_480, 25, 160, 0},
		{table, "15 m of 8 mm Type S at 18 fps", "cine-8", 15_000, 18, ms(3, 17), 1},
		{table, "60 m of 8 mm Type S at 18 fps", "cine-8", 60_000, 18, ms(13, 7), 1},
		{table, "90 m of 8 mm Type S at 18 fps", "cine-8", 90_000, 18, ms(19, 41), 1},
		{table, "120 m of 8 mm Type S at 18 fps", "cine-8", 120_000, 18, ms(26, 15), 1},
		{table, "15 m of 8 mm from double 8 at 16 fps", "cine-double8", 7_500, 16, ms(4, 6), 1},
		{table, "60 m of 8 mm from double 8 at 16 fps", "cine-double8", 30_000, 16, ms(16, 24), 1},
		{table, "90 m of 8 mm from double 8 at 16 fps", "cine-double8", 45_000, 16, ms(24, 37), 1},
		{table, "120 m of 8 mm from double 8 at 16 fps", "cine-double8", 60_000, 16, ms(32, 49), 1},
	} {
		checks = append(checks, outside{r.source, r.what + ", s", int64(format(t, r.code).RunningTime(r.mm, r.fps)), int64(r.want), r.within})
	}
	return checks
}
