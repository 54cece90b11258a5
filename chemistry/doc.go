// Package chemistry knows films, processes and baths: how much area a film
// has, which steps a process takes and how long each must now be, how long it
// takes to warm up, where film hangs to dry, what kits make and what their
// baths still carry. Who pays for it is package shares' matter.
//
// # Rules and data apart from storage
//
// The rules are pure functions of values and import nothing of the project but
// lab/units; files named store_*.go hold the SQL for a lab's own formats and
// processes, its kits and its baths. Rules say no with a [Fault], the store
// with a lab.Refusal.
//
// # Units
//
// Lengths are mm, widths µm, areas mm², volumes mL, spans whole seconds,
// factors permille. Divisions round half up unless their comment says otherwise.
//
// # Sources
//
// Built-in figures name their source beside them, in their own Source field:
// a published table by its title; "common practice" for a fact of the trade;
// "from memory" for a figure that nobody has yet held against its table. A lab
// that knows better adds its own version of a process, which overrides the
// built-in one.
package chemistry
