package api_test

// may is who may ask for what, by rule; see rulesOf. It is written apart from
// the table in the code and from the contract: an operation that is missing here,
// or stands here otherwise, fails TestAuthorizationMatrix.
//
//	anyone      without a token
//	member      every member of the lab
//	own         the member whose object it is; to other members it is not there
//	self        as own, where others may know of it: they are told that it is not theirs to do
//	steward, treasurer, keeper, setup   who holds the role, or the setup code
//
// Several words: any of them.
var may = map[string]string{
	"anyone": `createToken signIn mailCode signInByProvider renewToken acceptInvitation readFeed
		getLive getReady getMetrics getKeySet getContract getReference getProblem`,
	"setup":                          `createLab`,
	"setup member":                   `listLabs tryPlan`,
	"setup steward keeper":           `createSignInCode`,
	"setup steward treasurer keeper": `listMembers`,
	"member": `signOut getLab listReelKinds listTanks getTank listCabinets getCabinet
		listFormats measureFilm listProcesses getProcess listHandbook getIncompatibilities
		getCalendar listOpenings getOpening listClosures listExtraDays listSessions getSession getBoard watchBoard
		listFeeds makeFeed listMessages readMessages listNoticeWishes chooseNotices findAvailability
		listKits getKit getMixingTable listBathSets getBathSet getBath getBathWhatIf listTopUps
		listRolls handInRoll listBookings book listWaiting joinWaitingList getBookingRules
		getMoneyRules addGuest listPayments recordPayment getKitTerms subscribe listTermsChanges consent`,
	"own": `listSignIns endSignIn setPassword readMessage endFeed`,
	"own steward": `getRoll updateRoll withdrawRoll collectRoll getBooking updateBooking cancelBooking confirmBooking
		getWaiting leaveWaitingList acceptOffer declineOffer getBookingRecord estimateCost`,
	"own treasurer":                `getStatement getStatementCsv getStatementJournal explainBalance getDues getPayment answerPayment`,
	"self treasurer":               `unsubscribe`,
	"own keeper":                   `listMemberAuditLog getPersonalData`,
	"own steward keeper":           `endSignIns listCertifications`,
	"own steward treasurer keeper": `getMember`,
	"steward": `certifyMember decertifyMember addFormat addProcess updateCalendar addOpening updateOpening endOpening
		addClosure endClosure addExtraDay cancelExtraDay openWeek addSession cancelSession
		mixKit quarantineBath releaseBath storeBath topUpBath discardBath listWaste logWaste getWasteTotals
		recordNoShow removeStrike listPins addPin removePin listBans addBan removeBan
		listPlans makePlan tryChanges getPlan getPlanGains watchPlan commitPlan listBatches getBatch getRunSheet recordRun cancelBatch
		listRuns getRun readRun getTrace giveRoll`,
	"steward keeper": `addMember updateMember listInvitations invite withdrawInvitation
		addReelKind addTank updateTank addCabinet updateCabinet
		listHooks addHook getHook removeHook rotateHookSecret enableHook pingHook listDeliveries updateBookingRules`,
	"steward treasurer": `listGuests`,
	"treasurer": `buyKit closeKit listEntries getKitAccount getSettlement getEntry reverseEntry chargeRunAnew
		listMonths closeMonth updateMoneyRules getKitAccountCsv getKitAccountJournal getFundCsv getFundJournal getFund
		getJournal getFairness enterPurchase proposeTerms withdrawTerms writeOff`,
	"keeper": `updateLab listAuditLog leaveLab eraseMember`,
}
