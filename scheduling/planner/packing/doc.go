// Package packing puts things into the fewest alike bins, exactly: bin packing
// and vector packing, in which a thing has a size in each of several dimensions
// and a bin a capacity in each. To the planner, bins are the runs of one class
// in one kind of tank, and the dimensions are stack height, solution, film area
// and reels. It is pure, and imports nothing of the project.
//
// [Solve] gives a packing and a bound that no packing beats. Equal things are
// one type with a demand. Whatever is proved is proved in whole numbers: linear
// programs in floating point only suggest which dual values to look at.
//
// # How
//
//  1. First fit and best fit decreasing, bin by bin filling, and the bound L2
//     of Martello and Toth [1] in each dimension. Most small problems end here.
//  2. The set-covering relaxation by column generation (Gilmore and Gomory [2]),
//     with a revised simplex method of its own and duals smoothed (Wentges [3]).
//     Columns are found by descent through the types, pruned by knapsack tables
//     for each dimension and for the weighted sum of dimensions whose fractional
//     knapsack is least. In one dimension the descent makes no false step. The
//     dual, rounded down to whole numbers, is a bound once the descent has found
//     that no pattern is worth more than a bin (Farley [4]).
//  3. A dive: what the relaxation takes whole is fixed, else what it takes most
//     of, and the rest is solved again.
//  4. If that finds no packing of as many bins as the bound, all patterns that
//     such a packing can hold are enumerated: a bin's worth, less a pattern's, is
//     at most target × bin − sum of all things' worth. Often there are some
//     hundreds. A search over them, with subset-row cuts (Jepsen and others [5])
//     and branching on pairs (Ryan and Foster [6]), finds the packing or refutes
//     the target, and then the bound rises by one. Each of its nodes is refuted
//     in whole numbers, and drops patterns by the same argument as above.
//  5. Where they are too many (duals of 0, most often), branch and price on
//     pairs (Vance and others [7]): together, as one thing, or never in one bin.
//     Each child begins from its parent's basis. It starts again with another
//     taste in pairs, and three times as long, when the first have not ended.
//
// # Measured
//
// On one core of an AMD EPYC. The one-dimensional sets are those of Falkenauer
// (1996), Scholl, Klein and Jürgens (1997), Schwerin and Wäscher (1997), Wäscher
// and Gau (1996) and Schoenfield (2002) as collected by Delorme, Iori and
// Martello [8]; the three-dimensional ones follow the classes of Caprara and
// Toth [9]. planner.TestOpenSets prints the table for planning problems made of
// them. All 248 and 133 that were tried are proved, the slowest (one of five in
// scholl-3, of sizes to 100,000) in about 4 s of the processor.
//
// What else was tried:
//
//   - Dives with second thoughts (limited discrepancy) instead of enumeration:
//     237 of the 248 proved; in hard28 up to 18 s of dives for a packing that the
//     enumerated patterns give in half a second, and nothing where there is none.
//   - Branch and price with a relaxation begun anew at every node: about 90
//     million steps a node in hard28, 10 million from the parent's basis.
//   - Strong branching with ten candidates: six times the work a node, and no
//     fewer nodes where the relaxation is degenerate.
//   - One taste in pairs alone: of six, the best ends BPP175 and BPP716 of hard28
//     after 429 and 128 million steps, others not after 12,000 million. Hence
//     the turns.
//   - Subset-row cuts in the relaxation of the root, priced with their fees: they
//     leave those two instances where they are, at a whole number.
//
// # Sources
//
//	[1] S. Martello, P. Toth, Knapsack Problems, 1990
//	[2] P. Gilmore, R. Gomory, Operations Research 9 (1961) and 11 (1963)
//	[3] P. Wentges, Int. Trans. Operational Research 4 (1997)
//	[4] A. Farley, Operations Research 38 (1990)
//	[5] M. Jepsen, B. Petersen, S. Spoorendonk, D. Pisinger, Operations Research 56 (2008)
//	[6] D. Ryan, B. Foster, in Computer Scheduling of Public Transport, 1981
//	[7] P. Vance, C. Barnhart, E. Johnson, G. Nemhauser, Computational Optimization and Applications 3 (1994)
//	[8] M. Delorme, M. Iori, S. Martello, European J. Operational Research 255 (2016); Optimization Letters 12 (2018)
//	[9] A. Caprara, P. Toth, Discrete Applied Mathematics 111 (2001)
//
// The outline of 2 to 5 is that of G. Belov, G. Scheithauer, European J.
// Operational Research 171 (2006), and L. Wei, Z. Luo, R. Baldacci, A. Lim,
// INFORMS J. Computing 32 (2020). The sources are cited from memory.
package packing
