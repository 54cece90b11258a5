package chemistry

import "wetside/lab/units"

// FrameRates are the frames per second that cine film is timed at: 16 and 18
// of silent film, 24 of sound film, 25 of television.
var FrameRates = []int64{16, 18, 24, 25}

// A Reeling is what a length of cine film is on the screen.
type Reeling struct {
	// Frames is rounded half up: film is not cut between perforations.
	Frames int64 `json:"frames"`
	// RunningTimes are by FrameRates, rounded half up to the second.
	RunningTimes []RunningTime `json:"running_times"`
}

// A RunningTime is how long a film runs at so many frames per second.
type RunningTime struct {
	FramesPerSecond int64          `json:"frames_per_second"`
	Time            units.Duration `json:"time"`
}

// footTenthsMM is a foot in tenths of a millimetre: 304.8 mm.
const footTenthsMM = 3048

// Frames is the frames of lengthMM of cine film; 0 of film that is not.
func (f Format) Frames(lengthMM int64) int64 {
	return divHalfUp(lengthMM*f.FramesPerFoot*10, footTenthsMM)
}

// RunningTime is how long lengthMM runs at fps frames per second.
func (f Format) RunningTime(lengthMM, fps int64) units.Duration {
	return units.Duration(divHalfUp(lengthMM*f.FramesPerFoot*10, footTenthsMM*fps))
}

// Reeling is lengthMM of cine film on the screen; nil of film that is not.
func (f Format) Reeling(lengthMM int64) *Reeling {
	if f.FramesPerFoot == 0 {
		return nil
	}
	r := Reeling{Frames: f.Frames(lengthMM)}
	for _, fps := range FrameRates {
		r.RunningTimes = append(r.RunningTimes, RunningTime{FramesPerSecond: fps, Time: f.RunningTime(lengthMM, fps)})
	}
	return &r
}

// LengthFor is the least length, in mm, that runs for at least t at fps.
func (f Format) LengthFor(t units.Duration, fps int64) int64 {
	if f.FramesPerFoot == 0 {
		return 0
	}
	return divUp(int64(t)*fps*footTenthsMM, f.FramesPerFoot*10)
}
