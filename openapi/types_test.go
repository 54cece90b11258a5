package openapi_test

import (
	"reflect"
	"slices"
	"strings"
	"testing"

	"wetside/chemistry"
	"wetside/chemistry/shares"
	"wetside/lab"
	"wetside/lab/signin"
	"wetside/lab/telling"
	"wetside/lab/units"
	"wetside/scheduling"
	"wetside/scheduling/planner"
)

// types are the schemas that are types of the program, field by field.
var types = map[string]any{
	"FaultDetail": lab.Fault{}, "Money": units.Money{}, "Price": units.Money{},

	"NewLab": lab.NewLab{}, "LabChange": lab.Settings{}, "Lab": lab.Lab{}, "LabCreated": lab.Founding{},
	"NewMember": lab.NewMember{}, "MemberChange": lab.MemberChange{}, "SignIn": signin.SignIn{}, "Invitation": signin.Invitation{},
	"KeySet": signin.KeySet{}, "Key": signin.JWK{}, "Member": lab.Member{}, "Certification": lab.Certification{}, "Act": lab.Act{}, "PersonalData": lab.PersonalData{}, "SignInCode": lab.SignInCode{},
	"NewReelKind": lab.NewReelKind{}, "ReelKind": lab.ReelKind{},
	"NewTank": lab.NewTank{}, "TankChange": lab.TankChange{}, "Tank": lab.Tank{},
	"NewCabinet": lab.NewCabinet{}, "CabinetChange": lab.CabinetChange{}, "Cabinet": lab.Cabinet{},

	"NewFormat": chemistry.Format{}, "Format": chemistry.Format{},
	"NewProcess": chemistry.ProcessDefinition{}, "Process": chemistry.Process{},
	"NewStep": chemistry.Step{}, "ProcessStep": chemistry.Step{},
	"NewPush": chemistry.Push{}, "Push": chemistry.Push{},
	"NewDurationRange": chemistry.DevelopingRange{}, "DurationRange": chemistry.DevelopingRange{},
	"NewTemperaturePoint": chemistry.TemperaturePoint{}, "TemperaturePoint": chemistry.TemperaturePoint{},
	"NewTemperatureCurve": chemistry.TemperatureCurve{}, "TemperatureCurve": chemistry.TemperatureCurve{},
	"NewControlLimit": chemistry.ControlLimit{}, "ControlLimit": chemistry.ControlLimit{},
	"NewDisagreement": chemistry.Disagreement{}, "Disagreement": chemistry.Disagreement{},
	"NewKit": shares.NewKit{}, "Kit": chemistry.Kit{},
	"NewKitBath": chemistry.BathDefinition{}, "KitBath": chemistry.BathDefinition{},
	"NewCorrection": chemistry.CorrectionPoint{}, "Correction": chemistry.CorrectionPoint{},
	"NewConcentrate": chemistry.Concentrate{}, "Concentrate": chemistry.Concentrate{},
	"NewBathLimits": chemistry.BathLimits{}, "BathLimits": chemistry.BathLimits{},
	"MixingTable": chemistry.MixingTable{}, "MixedBath": chemistry.MixedBath{}, "Measure": chemistry.Measure{},
	"FilmMeasured": chemistry.FilmMeasured{}, "Reeling": chemistry.Reeling{}, "RunningTime": chemistry.RunningTime{},
	"Hanging": chemistry.Hanging{}, "HandbookTable": chemistry.HandbookTable{}, "Incompatibility": chemistry.Incompatibility{},
	"BathAnswer": scheduling.BathAnswer{}, "Outlook": chemistry.Outlook{}, "Margin": chemistry.Margin{},
	"NewStorage": chemistry.Storage{}, "Storage": chemistry.Storage{}, "Because": chemistry.Because{}, "Quarantine": chemistry.Quarantine{},
	"NewTopUp": chemistry.NewTopUp{}, "TopUp": chemistry.TopUp{}, "WhatIf": scheduling.WhatIf{}, "MoreRolls": scheduling.MoreRolls{},
	"TimeLimit": chemistry.TimeLimit{}, "Disposal": chemistry.Disposal{}, "NewWaste": chemistry.NewWaste{}, "Waste": chemistry.Waste{},
	"WasteTotal": chemistry.WasteTotal{},
	"Mixing":     chemistry.NewMix{}, "BathSet": chemistry.BathSet{}, "Bath": chemistry.Bath{},
	"SheetWorking": chemistry.Factor{},

	"NewReversal":       shares.NewReversal{},
	"NewClosedMonth":    shares.NewClosedMonth{},
	"ClosedMonth":       shares.ClosedMonth{},
	"AccountBalance":    shares.AccountBalance{},
	"MoneyRules":        shares.MoneyRules{},
	"MoneyRulesChange":  shares.MoneyRulesChange{},
	"NewGuest":          shares.NewGuest{},
	"Guest":             shares.Guest{},
	"NewGift":           shares.NewGift{},
	"Gift":              shares.Gift{},
	"FundStatement":     shares.FundStatement{},
	"Explanation":       shares.Explanation{},
	"ExplanationReason": shares.Reason{},
	"ExplanationStep":   shares.Step{},
	"RuleShare":         shares.RuleShare{},
	"RuleOutcome":       shares.RuleOutcome{},
	"Fairness":          shares.Fairness{},
	"NewPayment":        shares.NewPayment{},
	"PaymentRecord":     shares.PaymentRecord{},
	"KitTerms":          shares.KitTerms{},
	"NewPurchase":       shares.NewPurchase{},
	"NewTermsChange":    shares.NewTermsChange{},
	"Consent":           shares.Consent{},
	"NewConsent":        shares.NewConsent{},
	"TermsChange":       shares.TermsChange{},
	"EstimateOutlook":   shares.Outlook{},
	"Estimate":          shares.Estimate{},
	"NewBuyer":          shares.Buyer{},
	"Buyer":             shares.Buyer{},
	"NewSubscription":   shares.NewSubscription{},
	"Subscription":      shares.Subscription{},
	"SharesOffer":       shares.SharesOffer{},
	"Dues":              shares.Dues{},
	"Closing":           shares.ClosingAnswer{}, "Share": shares.Share{}, "KitAccount": shares.KitAccount{},
	"Entry": shares.Entry{}, "Posting": shares.Posting{},
	"Statement": shares.Statement{}, "StatementLine": shares.Line{},
	"Settlement": shares.LabSettlement{}, "Balance": shares.Balance{}, "Payment": shares.Payment{},

	"NewOpening": scheduling.NewOpening{}, "Opening": scheduling.Opening{},
	"OpeningChange": scheduling.OpeningChange{}, "OpeningChanged": scheduling.ChangedOpening{},
	"NewClosure": scheduling.NewClosure{}, "Closure": scheduling.Closure{}, "ClosureChanged": scheduling.ChangedClosure{},
	"NewExtraDay": scheduling.NewExtraDay{}, "ExtraDay": scheduling.ExtraDay{}, "ExtraDayChanged": scheduling.ChangedExtraDay{},
	"Calendar": scheduling.Calendar{}, "CalendarSettings": scheduling.CalendarSettings{}, "CalendarChanged": scheduling.ChangedCalendar{},
	"OpenedDays": scheduling.OpenedDays{}, "CalendarChange": scheduling.CalendarChange{}, "KeptSession": scheduling.KeptSession{},
	"OccurrenceNote": scheduling.OccurrenceNote{}, "WeekRequest": scheduling.NewWeek{},
	"NewSession": scheduling.NewSession{}, "Session": scheduling.OpenSession{},
	"AvailabilityRequest": scheduling.Wish{}, "FilmDescribed": scheduling.Film{},
	"Availability": scheduling.Availability{}, "SessionOffer": scheduling.Offer{},
	"Board": scheduling.Board{}, "BoardSession": scheduling.BoardSession{}, "BoardBatch": scheduling.BoardBatch{},
	"Message": telling.Message{}, "ReadUpTo": telling.ReadUpTo{}, "MarkedRead": telling.MarkedRead{},
	"NoticeWish": telling.Wish{}, "NoticeWishChange": telling.WishChange{},
	"NewHook": telling.NewHook{}, "Hook": telling.Hook{}, "HookSecret": telling.HookSecret{}, "Delivery": telling.Delivery{},
	"NewFeed": scheduling.NewFeed{}, "Feed": scheduling.Feed{}, "FeedMade": scheduling.FeedMade{},
	"HookEvent": telling.Event{}, "HookEventData": telling.EventData{},
	"Places": scheduling.Places{}, "PlacesReason": scheduling.PlaceReason{},
	"NewRoll": scheduling.NewRoll{}, "RollChange": scheduling.RollChange{}, "Roll": scheduling.Roll{},
	"Areas":      scheduling.FilmArea{},
	"NewBooking": scheduling.NewBooking{}, "BookingChange": scheduling.BookingChange{}, "Booking": scheduling.Booking{},
	"BookingRules": scheduling.BookingRules{}, "BookingRulesChange": scheduling.BookingRulesChange{},
	"NewWaiting": scheduling.NewWaiting{}, "Waiting": scheduling.Waiting{},
	"Strike": scheduling.Strike{}, "BookingRecord": scheduling.BookingRecord{},
	"NewPin": scheduling.NewDirection{}, "NewBan": scheduling.NewDirection{}, "Ban": scheduling.Direction{},
	"PlanRequest": scheduling.NewPlan{}, "Batch": scheduling.Batch{},
	"RunSheet": scheduling.RunSheet{}, "SheetPhase": scheduling.Phase{},
	"SheetStep": scheduling.SheetStep{}, "SheetRoll": scheduling.SheetRoll{},
	"NewRun": scheduling.NewRun{}, "Run": scheduling.Run{},

	"NewReading": chemistry.Reading{}, "Reading": chemistry.Reading{},
	"NewStepReading": chemistry.StepReading{}, "StepReading": chemistry.StepReading{},
	"NewDensityReading": chemistry.DensityReading{}, "DensityReading": chemistry.DensityReading{},
	"Warning": chemistry.Warning{}, "RunReading": scheduling.RunReading{}, "RunOverride": scheduling.RunOverride{},
	"Trace": scheduling.Trace{}, "TracedKit": scheduling.TracedKit{}, "TracedBath": scheduling.TracedBath{},
	"TracedRun": scheduling.TracedRun{}, "TracedRoll": scheduling.TracedRoll{}, "QuarantineRecord": chemistry.QuarantineRecord{},

	"NewCorrectionRate": chemistry.CorrectionRate{}, "CorrectionRate": chemistry.CorrectionRate{},

	"PlanningProblem": planner.Problem{}, "PlanningWindow": planner.Window{}, "PlanningSearch": planner.Search{},
	"PlanningTank": planner.Tank{}, "PlanningReelKind": planner.ReelKind{}, "PlanningCabinet": planner.Cabinet{},
	"PlanningSession": planner.Session{}, "PlanningClass": planner.Class{}, "PlanningBath": planner.Bath{},
	"PlanningBathSet": planner.BathSet{}, "PlanningRoll": planner.Roll{}, "PlanningHold": planner.Hold{},
	"FrozenBatch": planner.FrozenBatch{}, "PlanFound": planner.Plan{}, "PlannedBatch": planner.Batch{},
	"ReelUse": planner.ReelUse{}, "Placement": planner.Placement{}, "LeftOut": planner.LeftOut{},
	"PlanReason": planner.Reason{}, "PlanLevel": planner.Level{},
	"PlanTrial": scheduling.Trial{}, "TrialWithout": scheduling.WithoutParts{}, "TrialMore": scheduling.MoreParts{},
	"TrialReels": scheduling.MoreReels{}, "TrialDue": scheduling.RollDue{}, "TriedPlan": scheduling.TriedPlan{},
	"PlanDifference": planner.Difference{}, "PlanLevelChange": planner.LevelChange{},
	"PlanProgress": planner.Progress{}, "PlanRemedy": planner.Remedy{}, "PlanGains": scheduling.PlanGains{}, "PlanGain": planner.Gain{},
	"PlanPlace": planner.Place{}, "PlanMove": planner.Move{},
	"PlanClash": planner.Clash{}, "PlanClashHold": planner.ClashHold{},
}

// fieldsOf are the JSON names of a struct's fields, and which may be left out.
func fieldsOf(typ reflect.Type) map[string]bool {
	fields := map[string]bool{}
	for _, f := range reflect.VisibleFields(typ) {
		name, options, _ := strings.Cut(f.Tag.Get("json"), ",")
		if f.IsExported() && name != "" && name != "-" {
			fields[name] = strings.Contains(options, "omitempty") || strings.Contains(options, "omitzero")
		}
	}
	return fields
}

func TestSchemasAreTheProgramsTypes(t *testing.T) {
	t.Parallel()
	doc := document(t)
	for schema, v := range types {
		fields := fieldsOf(reflect.TypeOf(v))
		s := doc.Components.Schemas[schema].Value
		closed := s.AdditionalProperties.Has != nil && !*s.AdditionalProperties.Has
		for name := range s.Properties {
			if _, ok := fields[name]; !ok {
				t.Errorf("%s has %s, the program does not", schema, name)
			}
		}
		for name, optional := range fields {
			required := slices.Contains(s.Required, name)
			switch {
			case s.Properties[name] == nil:
				t.Errorf("%s lacks %s", schema, name)
			case closed:
			case required && optional:
				t.Errorf("%s requires %s, which the program may leave out", schema, name)
			case !required && !optional && schema+"."+name != "Session.my_rolls": // not where sessions are made
				t.Errorf("%s does not require %s, which the program always gives", schema, name)
			}
		}
	}
}
