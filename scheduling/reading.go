package scheduling

import (
	"context"
	"fmt"
	"time"

	"github.com/jackc/pgx/v5"

	"wetside/chemistry"
	"wetside/lab"
	"wetside/lab/units"
)

// A RunReading is what was read of a run, and what it called for by the limits
// of the day.
type RunReading struct {
	ID       string              `json:"id"`
	Reading  chemistry.Reading   `json:"reading"`
	Warnings []chemistry.Warning `json:"warnings"`
	ReadBy   string              `json:"read_by"`
	ReadAt   time.Time           `json:"read_at"`
}

// ReadRun adds a reading to a recorded run: control strips are read once they
// are dry. It refuses with NotFound and invalid.
func ReadRun(ctx context.Context, tx pgx.Tx, s lab.Scope, runID string, in chemistry.Reading) (RunReading, error) {
	run, err := FindRun(ctx, tx, s.Lab.ID, runID)
	if err != nil {
		return RunReading{}, err
	}
	set, err := chemistry.FindBathSet(ctx, tx, s.Lab.ID, *run.RunSheet.BathSet, s.Now)
	if err != nil {
		return RunReading{}, err
	}
	return readRun(ctx, tx, s, run.ID, run.RunSheet, set, in, "")
}

// readRun judges a reading, which stands at a pointer of a request, and keeps
// it with its warnings.
func readRun(ctx context.Context, tx pgx.Tx, s lab.Scope, runID string, sheet RunSheet, set chemistry.BathSet, in chemistry.Reading, at string) (RunReading, error) {
	process, err := chemistry.FindProcess(ctx, tx, s.Lab.ID, sheet.Process, sheet.ProcessVersion)
	if err != nil {
		return RunReading{}, err
	}
	warnings, err := in.Judge(doneSteps(process, sheet, set), process.Control)
	if err != nil {
		return RunReading{}, chemistry.AsRefusal(at, err)
	}
	out := RunReading{Reading: in, Warnings: warnings, ReadBy: s.By.ID, ReadAt: s.Now}
	err = tx.QueryRow(ctx, `
		INSERT INTO readings (lab_id, id, run_id, reading, warnings, read_by, read_at)
		VALUES ($1, new_id('reading', $2), $3, $4, $5, $6, $2) RETURNING id`,
		s.Lab.ID, s.Now, runID, in, warnings, s.By.ID).Scan(&out.ID)
	if err != nil {
		return RunReading{}, fmt.Errorf("keep reading: %w", err)
	}
	return out, nil
}

// doneSteps are the steps of a run's sheet, with what readings of them are held against.
func doneSteps(p chemistry.Process, sheet RunSheet, set chemistry.BathSet) []chemistry.DoneStep {
	var steps []chemistry.DoneStep
	for i, on := range sheet.Steps {
		done := chemistry.DoneStep{Base: on.BaseTime, Sheet: on.Time}
		if i < len(p.Steps) {
			done.Step = p.Steps[i]
		}
		for _, b := range set.Baths {
			if on.Bath != nil && b.ID == *on.Bath {
				done.Limits = b.Limits
			}
		}
		steps = append(steps, done)
	}
	return steps
}

// recordedSheet is the sheet that a run is recorded with, corrected for the
// temperature that its developer was read to have; against is why it would be
// refused but for an override.
func recordedSheet(ctx context.Context, tx pgx.Tx, s lab.Scope, b Batch, in NewRun) (sheet RunSheet, against []string, err error) {
	process, err := chemistry.FindProcess(ctx, tx, s.Lab.ID, b.Process, 0)
	if err != nil {
		return RunSheet{}, nil, err
	}
	start, end := developerTemperatures(process, in.Readings)
	sheet, err = runSheet(ctx, tx, s, b, start)
	if code := lab.RefusalCode(err); in.Override != "" && (code == "developer-out-of-tolerance" || code == "temperature-not-in-table") {
		against = append(against, err.Error())
		sheet, err = runSheet(ctx, tx, s, b, nil)
	}
	if err != nil || end == nil || process.Kind.BlackAndWhite() {
		return sheet, against, err
	}
	if _, off := process.AtTemperature(*end); off != nil {
		if in.Override == "" {
			return RunSheet{}, nil, chemistry.AsRefusal("/readings", off)
		}
		against = append(against, off.Error())
	}
	return sheet, against, nil
}

// developerTemperatures are what the developer was read to have, nil where it was not.
func developerTemperatures(p chemistry.Process, r *chemistry.Reading) (start, end *units.Temperature) {
	if r == nil {
		return nil, nil
	}
	for _, read := range r.Steps {
		if read.Step >= 1 && read.Step <= len(p.Steps) && p.Steps[read.Step-1].Developer {
			start, end = read.TemperatureStart, read.TemperatureEnd
		}
	}
	return start, end
}
