// Package planner decides which rolls go together, in which tank, bath and
// session, and when. It is pure: a [Problem] in, a [Plan] with its proof out;
// no clock but the search budget's, no database, no log.
//
// # Rules
//
// A plan that breaks one of these is not a plan. Numbers are those that the
// checker (package checker, which shares no code with the search) prints.
//
//  1. class: a batch holds one class, or [Class].Shareable classes of one
//     process within [Problem].TolerancePermille, which then runs by the one
//     with the longest developing time
//  2. fit: its reels are of kinds that the tank takes, enough for its rolls and
//     no more than needed; their heights add up to at most the tank's; their
//     solution to at most the tank's volume and each bath's
//  3. capacity: the set serves the process and has a bath for every step's
//     role; film area is at most RunMM2PerL × min(bath, tank volume) ÷ 1000 for
//     every bath in it; summed over the runs, frozen ones included, it is at
//     most AreaLeftMM2, and runs at most RunsLeft; of a one-shot bath each run
//     draws the greater of its reels' solution and area × 1000 ÷ RunMM2PerL
//     rounded up (this at most the tank's volume), in sum at most VolumeML; a
//     bath that is not one-shot is in one run at a time, from start to end
//  4. life: the step of each bath begins no later than the bath expires; a set
//     with Mix is mixed by the first batch that uses it (Mixes true there and
//     nowhere else), which begins by Mix.By; the others start once it is mixed;
//     its baths live from then
//  5. reels: in use or not yet dry, at any time at most the kind's count
//  6. time: start, wet, end and clear follow each other as [Batch] says, inside
//     session and horizon; batches of a tank are apart by the flush where
//     processes differ; an operator is in one place at a time
//  7. drying: every roll hangs in one cabinet that takes it, positions at any
//     time at most the cabinet's
//  8. holds: a booked or pinned roll is in that session or left out; bans hold;
//     no batch starts before its rolls are handed in; every roll is in one
//     batch or left out, once; the session allows the process
//
// A half-open span [from, to) is meant throughout: what ends when another
// begins does not overlap it.
//
// # Alike rolls
//
// Where rolls of one class wait for one tank, and nothing but reels, areas and
// hand-ins tells them apart, [Solve] packs them exactly (package packing) and
// lays the runs out one after another; level 5 is bounded by how many runs the
// sessions hold and how long all reels take to load. Elsewhere the same packing
// bounds the runs of each group of classes that may share one.
//
// # Search
//
// [Solve] places rolls one by one, booked and pinned ones first, each where it
// adds least to the levels: in a batch there is, or in a new one at its
// earliest time, found exactly on the timelines of tanks, operators, baths,
// reels and cabinets. That is the first plan. From thirty rolls on others are
// made by sweeps: sessions are filled in the order in which they begin, each with
// the content worth most there by the relaxation's pricing, where a roll is worth
// what it would be later if it waited; what came out badly counts for more in the
// next. While rolls are left out, parts of the best are swept again and again.
//
// Then it leaps: as if what is proved of lateness and chemistry could be had, it
// makes a plan of the fewest runs, and mostly it can. Then it works down the levels,
// first a little on each, then on those that are not proved. Of each it solves
// the relaxation below, among plans as good at the levels above, and makes a plan
// of its optimum: baths that expire are filled in whole rolls, sessions settled one
// after another for the outlines they have there, that is their runs, baths and reels,
// depth first where that costs too much. Which rolls are on the reels is then a
// transport problem with rows for the baths besides, whole but for a few rolls, and
// these are placed by trying, or split by. Where what sessions hold in part adds up to
// whole runs and rolls, it is drawn as it is. A timetable for the runs of a day is looked
// for through the orders in which they may start (active schedules: Giffler and Thompson 1960), as
// far ahead as tanks and baths have time, by any bath that costs nothing, films hung
// only just in time; where there is none, time is left in one session for a kit that
// is mixed that day, or an outline is refused, and all is drawn anew. Where that comes
// to nothing a first plan is made with sessions settled for their rolls at once,
// overlapping ones together; where these have no timetable others are tried, and in the
// end runs placed in the best of several orders, what cannot be placed goes back to the
// relaxation, but held rolls stay, and others make way for them.
// What comes of it, and the best plan so far, is looked at through windows: pairs
// of days are planned anew, by all the same means, while all else stands (Shaw
// 1998), until no pair betters the plan. Between these it improves by steps: it
// takes down part of the plan (some batches, a session, all that a bath set does,
// what is near in time) or has runs go to other sessions, replays the rest and inserts
// again in another order, and keeps what is no worse than the plan twenty steps
// before, levels weighed against each other or in order. The finish begins with moves
// of what is dry last, one by one, each with new timetables for its days: from the best
// plan, and from others as good above, a few steps away. A level that is proved is left
// at once.
//
// All choices come from the problem's seed, on one thread, and the work from the
// problem's size and counts of what was done; only the budget looks at a clock.
// Batches start on whole seconds. Rolls of one class alone in one tank go to
// package packing.
//
// [Fits] answers for the booked and pinned rolls alone, and enumerates the
// groupings of a session where the search finds none.
//
// # Bounds
//
// A level's bound follows from relaxations that are solved exactly: each roll
// alone in the lab but for the frozen batches; counts of what sessions, reels,
// hanging positions and bath areas can take; for lateness also a transport
// problem of rolls to the sessions that overlap, for all rolls and, summed up,
// for those of each bath component and kind of reel by themselves. At levels 3
// to 6 only rolls that no plan as good at levels 1 and 2 leaves out are counted
// on: what lateness leaves of slack may be spent on leaving rolls out, and a
// knapsack spends it where that saves most runs, or most area of kits. They are
// valid, and weak where many rolls compete for the same hours.
//
// The relaxation that proves most forgets part of the clock: a session is a
// stretch of time that takes runs whose times and flushes add up to no more, of
// classes whose rolls pack into runs exactly (by dynamic programming over the
// numbers of reels of each kind, which also knows how long those runs take to
// prepare at least). A roll that is a day later unless its run ends early in the
// session counts so unless one run of its class is early. Sessions compete for
// rolls, bath area and kits, and where they overlap for reels, hanging positions,
// operators and for each bath by itself, for as long as it lives. Over all
// contents of all sessions that is a linear program: a reel counts for as long as a
// run that uses it takes and it dries, columns are found by a
// knapsack of classes over a session's time (Dantzig & Wolfe 1960, Gilmore &
// Gomory 1961, Pisinger 1995), kits are whole, each choice of them looked at by
// itself, the cheapest first; where baths that expire are to be filled, no roll counts
// twice. The prices of its rows are rounded to whole numbers,
// and the bound is worked out from them in whole numbers alone (Lagrange; Farley
// 1990), so that it holds however the floating point went. For the finish the
// question is asked of ever later ends, whether as few runs can be had by then: film
// that ends too late for a slow cabinet, and for a place in a fast one to be used
// twice, hangs all together then, so that runs are told apart by whether they end
// before; a bath is in few early runs of all sessions together. What is held to the last
// days is scheduled by itself, exactly (orders of starts, without what the same rolls could
// have had sooner), film that hangs last in the places there are, which also tells what
// more those days have time for, in any number of runs or in those that the program has:
// types of roll they have not are barred from them, and of rolls they have not all time for
// in so few runs, one is elsewhere, or there are more runs. That is asked of ever later
// instants, since what is learnt of splits at one tells what to split by at the next.
//
// Where that does not reach, three things prove more. What the prices of a level
// show to cost more than its value, one type of roll in one session, is barred
// from all plans as good, at that level and below (reduced-cost fixing). What a
// bath that expires may waste is settled filling by filling: how many rolls of
// each area it takes, at chemistry and, where they are few, below it. And a goal whose
// optimum is not in whole numbers is split by runs of a process, of a session, of a class
// in one, by a set there or in its early part, or by rolls there, and each half solved on
// from the whole (branch and price: Vanderbeck 2000): the likelier at once, the other when
// it is needed. Before that it is split by the session in which a kit is mixed, which takes
// time there and is before all runs by it, if the program has left none. By which count is
// learnt: some are tried, and what halves cost is remembered
// (reliability branching: Achterberg, Koch and Martin 2005). What comes out whole is split
// on until contents add up to whole ones, and made a plan of, or gone on from. At first
// goals are split a few times, so that all levels are good, and in the end as often as
// there is time.
//
// # Tried
//
// Figures are of generated weeks of 80 rolls (see README.md) at the time:
//
//   - counts alone proved lateness of 0 of 10 weeks, with 29 % to go; the
//     relaxation of most, and of all ten once it knew early and late runs
//   - kits in part, as linear programs have them, bound chemistry at half its
//     value; branching on them took seconds, listing the choices by price a tenth of one
//   - without the objective in units of like size the linear program went in
//     circles: 220,000 pivots instead of 600
//   - improvement by steps alone left 20 % more runs than proved, plans made of
//     the relaxation 16 %, plans bettered through windows of two days 4 to 5 %
//   - one row for all bath sets of a process counted those that were never mixed
//     and seldom bound: days were promised runs that no bath was free for
//   - barring proved in 0.7 s a week whose bound stayed one run short over 300 splits;
//     splitting by the sort of count first, and in it the one farthest from whole, left
//     another one short over 3,000 splits, which 12 by what is learnt proved
//   - the dual simplex after a split went in circles where many plans are equally
//     good; a dear column for what the new row is short of, and primal pivots, do not.
//     With costs perturbed it did not either, in 20 to 50 pivots where those took 10
//     to 20, and programs got twice the columns: 29 weeks of 100 proved, not 35
//   - asking for more runs by a row makes runs worth having for their own sake, which
//     contents of as few runs as can be do not show: the bound was wrong (one problem
//     in 2,500 of enumeration told). Prices clipped to where runs are not gave bounds
//     of nothing, and splits that never ended; now rolls that cost something are in
//     contents too where they are worth their run
//   - mixing a kit for half an hour in some session, before all runs by it, as rows:
//     47 weeks proved and not 54, in 8 % more time; contents that mixed without a run
//     were still among them. Splitting by it, where it is wanting, proved a week that no
//     version before had
//   - rolls covered, not counted: at the optimum of chemistry or runs up to fourteen rolls
//     too many were in contents, and baths that expire were filled with them. Of 113 times
//     that outlines could not be had with whole rolls 112 were for that, or for rounding once.
//     Counted, a week of 38 runs could be proved, whose bound had been 34. Counted everywhere
//     121 weeks of 200 are proved, not 132: dives need rolls too many, and for the finish it
//     costs more than it proves
//   - contents of a program that is whole in all its counts are mostly halves of others, as
//     2 reels and 4 by 4 reels and 2: in one week 53 of 63 added up to whole contents, where
//     dives had given up
//   - runs of overlapping sessions that no timetable has room for, whatever rolls are
//     in them, split off by branching: they were met 15 times in 100 weeks
//   - a day's runs in 120 random orders: of those that were not placed nine in ten had
//     no timetable, which looking ahead tells in less than half the time
//   - steps that took the first twenty changes, whatever they were, did not come back to
//     a good plan in the few hundred steps they have
//   - each plan of a relaxation of runs went the same way as the one before, since the
//     program with baths filled was made anew; now they differ, and give up sooner what
//     costs too much (three in five did, of 54 in hard weeks): 81 weeks of 100 proved
//     there, not 73
//   - for the finish, settling the last day first, in programs and in splits: 117 proved
//     of 200 at that level and not 133 by splits, no other number by programs
//   - plans made of whole rolls without a dive: as many weeks with as without. Splitting by
//     sets too seemed as idle as long as 40 splits, both halves solved at once, came to
//     something whole 7 times of 71 at the finish. What is whole by runs and rolls alone
//     is still in 38 to 66 contents of 12 to 14 sessions, and of some thirty in three weeks
//     none could be drawn; split by sets, and by which runs end early, they come to plans, or
//     to days that have no timetable, and three of five weeks given 14 s finish sooner. It
//     takes 50 to 120 splits to come to one, at 4 ms each, and steps better more weeks in
//     that time: with 120 splits 174 of 300 weeks are proved, with 40 193
//   - of thirteen weeks that were not proved at the finish, asked with 300 splits each whether
//     film could all be dry by seven instants between bound and plan, two were proved and four
//     came within a quarter of an hour to a plan known. In one the first instant took 0.6 s,
//     and the last, with what was learnt by then of where to split, 0.04 s: asked of that
//     alone, anew each time, it was not proved. More plans of whole programs before a search
//     ends, 20 and not 6: 218 of 300 weeks, not 221; a goal split 6 times at first, not 10, 211;
//     80 splits for such instants, not 200, 219
//   - a week of 36 runs whose bound was 31 was never split, as long as more than three runs
//     too many were a reason not to: it takes 4 to 5 s, more than it gets by default
//   - a split solved no further than that its goal can be had, for the finish: 71 pivots
//     and not 79
//   - moves like those of the finish at chemistry, where areas alone cost less by them,
//     and at runs, where small runs are given away: 119 weeks of 200 proved, not 122
//   - artificial rolls five times as dear at runs, at once or in the end: as many or fewer
//   - of 300 weeks proved at every level, where that was 174: early and late runs apart at
//     all levels, not only for the finish, 161; a session whose content could not be
//     placed filled with five minutes less, or with what mixing a kit takes less, 163 and
//     161; half as many contents tried for a day 7 of 200 fewer, twice as many 2 fewer;
//     less work below a level that is not proved yet, at first, 183 where that was 181
//   - of 263 plans of relaxations of runs 146 were given up because the contents of
//     sessions, settled one by one, cost more than the bound, before any day was arranged.
//     More contents priced in between (8 rounds, not 3), or none where it costs no more,
//     made no difference; outlines first did. Half as many strokes of them, 30 and not 60,
//     lose few: nine in ten of those that come to something take no more
//   - of 564 days without a timetable 139 ran out of starts, 173 had one if kits took no time
//     to mix, 183 if runs might be late (32 either way); time for mixing left before sessions
//     are settled, whether it is wanting or not: 178 of 300, not 180
//   - windows of six days were proved to hold no plan better at chemistry 197 times of 213, in
//     17 ms each; three days at a time where two better nothing: 171 of 300, not 180
//   - two days of the best plan drawn anew with the outlines of all others kept, where one run
//     less was wanted: 22 of 154 pairs could be had by the linear program, one gave a plan
//   - hanging each film where it dries soonest left cine film, which one cabinet alone
//     takes, without a place, and plans of what could be had fell short for it
//
// [Fits] takes under 1 ms to say yes for a session of up to fifteen booked
// rolls, and up to 100 ms to enumerate before it says no. Of 3,001 random
// problems of up to five rolls, all plans are best at every level by
// enumeration, and 94 of 100 values are proved.
//
// # Saying why
//
// A plan says of each batch what brings its rolls together and what keeps
// others out ([Batch].Why), of each roll left out every reason, session by
// session, and the smallest single change that would place it: a reel, hanging
// positions, a kit or capacity, a longer session, another session. The change is
// tried on the plan as it stands and then planned again ([LeftOut].Verified).
// [Gains] plans again with one more reel, session or kit mixed now, [Compare]
// lists what moved from one plan to another, [Plan].Moved since the one before.
//
// # Checked by others
//
// Package checker judges any plan; 10,000 random problems and 209,659 plans
// spoilt by one step found it and the search at one. Package referee has a solver
// of other people's making look for better plans: of 74 random problems of up
// to fourteen rolls it settled 60, in 111 s of processor time, all equal at
// every level.
package planner
