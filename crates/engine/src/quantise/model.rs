//! The program: variables for arcs and spokes, rows for patches and promises.

use numeric::{Program, ProgramError, ProgramLimits, Relation, Solution, Variable};

use super::costs::{Costs, Weighing};
use super::{Plan, QuantiseOptions};
use crate::layout::{Arc, ArcSource, ArcUse, Layout};

/// A count that a guide promises over its arcs.
#[derive(Clone, Debug, PartialEq)]
pub(super) struct Promise {
    /// The guides that promise it: indices into the job's list.
    pub guides: Vec<usize>,
    /// Quads in all.
    pub count: u32,
    /// Whether held quads have a part of the guide, so that this is only the rest of its count.
    pub partly_held: bool,
    /// Whether it is less than it takes to follow the guide closely, shared out by length.
    pub is_short: bool,
    /// Fewest quads that its curve can have.
    pub least: u32,
    /// Its arcs.
    pub arcs: Vec<usize>,
}

/// Faces to come near to, and the plan about which their number is made linear.
pub(super) struct Budget<'a> {
    pub about: &'a Plan,
    /// Faces wanted.
    pub wanted: usize,
    /// Share of them that may be missed.
    pub slack: f64,
}

/// Cost of a pair of poles that counts force: more than any stretch of a strip is worth.
pub(super) const SURPLUS_COST: f64 = 60.0;
/// Quads below which an arc's wanted number isn't told apart.
pub(super) const LEAST_WANTED: f64 = 0.3;
/// Cost of missing the budget by all of its faces.
pub(super) const MISS_COST: f64 = 600.0;
/// A surplus needs two rows, so that its poles stay off the narrow side: more than one, so any
/// share above 0 that whole numbers tell from it will do.
const ROWS_SHARE: f64 = 1.0 / 64.0;
/// Cost of each quad by which a pole is too near a curve that it is kept from outright, and a ring.
const BARRED_COST: f64 = 20.0;
const BERTH_COST: f64 = 2.0;
/// Length, in quads, below which an arc may have none.
const VANISHING: f64 = 1.0;
/// Branch-and-bound nodes at which a longer look ends.
const MOST_NODES: u64 = 8000;
/// Greatest number of quads on an arc or a spoke.
pub(super) const MOST: i32 = 4000;
/// Share of its cost by which a plan may miss the best one.
const GAP: f64 = 2e-3;

/// What a plan is asked for.
#[derive(Clone, Copy)]
pub(super) struct Asked<'a> {
    pub promises: &'a [Promise],
    /// How many quads each arc needs to stay near its curve; 0 where that is no matter.
    pub needed: &'a [u32],
    /// Edge length of the quads, model units.
    pub edge: f64,
    pub weighing: Weighing,
    /// How far size follows curvature, 0 to 1.
    pub adapt: f64,
    pub budget: Option<&'a Budget<'a>>,
    /// Branch-and-bound nodes.
    pub nodes: u64,
    /// Whether a plan is needed at any price: where so many nodes find none, many times as many are spent.
    pub needed_at_all: bool,
}

impl<'a> Asked<'a> {
    /// Without a budget.
    pub fn new(
        promises: &'a [Promise],
        needed: &'a [u32],
        edge: f64,
        options: &QuantiseOptions,
        nodes: u64,
    ) -> Self {
        Self {
            promises,
            needed,
            edge,
            weighing: options.weighing,
            adapt: options.adapt,
            budget: None,
            nodes,
            needed_at_all: true,
        }
    }
}

/// Solves for one edge length.
pub(super) fn solve(layout: &Layout, asked: &Asked<'_>) -> Result<Plan, ProgramError> {
    // Seldom needed, so rows that forbid a crowded patch are added where one is found.
    let mut one_axis = Vec::new();
    let mut vanishing = may_vanish(layout, asked.edge);
    let mut nodes = asked.nodes;
    loop {
        let tried = solve_once(layout, asked, nodes, &one_axis, &vanishing);
        let plan = match tried {
            // Any plan is better than none: a longer look, and then one without arcs that vanish.
            Err(ProgramError::Exhausted { .. })
                if asked.needed_at_all && nodes > 0 && nodes < MOST_NODES =>
            {
                nodes *= 8;
                if nodes >= MOST_NODES {
                    vanishing.iter_mut().for_each(|v| *v = false);
                }
                continue;
            }
            other => other?,
        };
        let more = crowded(layout, &plan);
        let there = plan.overmerged(layout);
        if there.is_empty() && more.iter().all(|p| one_axis.contains(p)) {
            return Ok(plan);
        }
        one_axis.extend(more);
        there.into_iter().for_each(|a| vanishing[a] = false);
    }
}

fn solve_once(
    layout: &Layout,
    asked: &Asked<'_>,
    nodes: u64,
    one_axis: &[usize],
    vanishing: &[bool],
) -> Result<Plan, ProgramError> {
    let mut program = Program::default();
    let costs = Costs::new(layout, asked.edge, asked.weighing, asked.adapt);
    let arcs: Vec<Variable> = vanishing
        .iter()
        .map(|&may| program.whole(0.0, i32::from(!may), MOST))
        .collect();
    for side in layout.patches.iter().flat_map(|p| &p.sides) {
        if side.iter().all(|u| vanishing[u.arc]) {
            program.row(&sum_of(&arcs, side, 1.0), Relation::AtLeast, 1.0);
        }
    }
    for promise in asked.promises {
        let terms: Vec<(Variable, f64)> = promise.arcs.iter().map(|&a| (arcs[a], 1.0)).collect();
        program.row(&terms, Relation::Equal, f64::from(promise.count));
    }
    let wanted = wanted(layout, asked);
    for (a, (variable, &target)) in arcs.iter().zip(&wanted).enumerate() {
        costs.arc(&mut program, *variable, target);
        if f64::from(asked.needed[a]) > target {
            let missing = program.real(costs.chord(), f64::INFINITY);
            program.row(
                &[(*variable, 1.0), (missing, 1.0)],
                Relation::AtLeast,
                f64::from(asked.needed[a]),
            );
        }
    }
    for group in sharing_ends(&layout.arcs) {
        let terms: Vec<(Variable, f64)> = group.iter().map(|&a| (arcs[a], 1.0)).collect();
        program.row(&terms, Relation::AtLeast, 3.0);
    }
    let mut spokes: Vec<Vec<Variable>> = Vec::new();
    let mut surplus: Vec<Option<[[Variable; 2]; 2]>> = Vec::new();
    for (p, patch) in layout.patches.iter().enumerate() {
        let n = patch.sides.len();
        if n == 4 {
            spokes.push(Vec::new());
            surplus.push(Some(four_sides(
                &mut program,
                &arcs,
                &patch.sides,
                costs.surplus(),
                one_axis.contains(&p),
            )));
        } else {
            let y = spokes_of(&mut program, layout, &costs, &patch.sides);
            for i in 0..n {
                let mut terms = sum_of(&arcs, &patch.sides[i], 1.0);
                terms.push((y[(i + n - 1) % n], -1.0));
                terms.push((y[(i + 1) % n], -1.0));
                program.row(&terms, Relation::Equal, 0.0);
            }
            for (spoke, side) in y.iter().zip(&patch.sides) {
                keep_off(&mut program, layout, &costs, *spoke, side);
            }
            for pin in layout.pins.iter().filter(|pin| pin.patch == p) {
                for (spoke, way) in y.iter().zip(&pin.ways) {
                    costs.spoke(&mut program, *spoke, (way / asked.edge).max(1.0));
                }
            }
            spokes.push(y);
            surplus.push(None);
        }
    }
    for (p, patch) in layout.patches.iter().enumerate() {
        costs.strips(&mut program, p, |family| match spokes[p].get(family) {
            Some(&spoke) => vec![(spoke, 1.0)],
            None => sum_of(&arcs, &patch.sides[family], 1.0),
        });
    }
    if let Some(budget) = asked.budget {
        budget_row(&mut program, layout, budget, &arcs, &spokes);
    }
    let solution = program.solve(ProgramLimits { nodes, gap: GAP }, false)?;
    Ok(plan_of(
        layout, &solution, &arcs, &spokes, &surplus, asked.edge,
    ))
}

/// Quads that each arc should have by its length, or by its share of a promised count: by length,
/// or, where so few couldn't follow the guide closely, by where it bends.
pub(super) fn wanted(layout: &Layout, asked: &Asked<'_>) -> Vec<f64> {
    let weight = |a: usize| layout.arcs[a].length * layout.arcs[a].density;
    let mut wanted: Vec<f64> = (0..layout.arcs.len())
        .map(|a| weight(a) / asked.edge)
        .collect();
    for promise in asked.promises {
        let worth = |a: usize| {
            if promise.is_short {
                layout.arcs[a].worth
            } else {
                weight(a)
            }
        };
        let whole: f64 = promise.arcs.iter().map(|&a| worth(a)).sum();
        for &a in &promise.arcs {
            wanted[a] = worth(a) / whole.max(1e-300) * f64::from(promise.count);
        }
    }
    wanted
}

/// Arcs that close on themselves, and pairs of arcs with the same two ends: with fewer than three
/// edges in all, one edge would be there twice, and the surface would touch itself. Such arcs
/// run round small holes.
pub(super) fn sharing_ends(arcs: &[Arc]) -> Vec<Vec<usize>> {
    let mut by_ends: Vec<([u32; 2], usize)> = Vec::with_capacity(arcs.len());
    for (a, arc) in arcs.iter().enumerate() {
        if let (Some(&one), Some(&two)) = (arc.vertices.first(), arc.vertices.last()) {
            by_ends.push(([one.min(two), one.max(two)], a));
        }
    }
    by_ends.sort_unstable();
    let mut groups = Vec::new();
    for run in by_ends.chunk_by(|x, y| x.0 == y.0) {
        for (i, &([one, two], a)) in run.iter().enumerate() {
            if one == two {
                groups.push(vec![a]);
            } else {
                groups.extend(run[..i].iter().map(|&(_, b)| vec![b, a]));
            }
        }
    }
    groups
}

/// Cost for each quad by which a pole is too near a side that it is to keep away from.
fn keep_off(
    program: &mut Program,
    layout: &Layout,
    costs: &Costs<'_>,
    spoke: Variable,
    side: &[ArcUse],
) {
    let Some((quads, outright)) = berth(layout, side) else {
        return;
    };
    let cost = berth_cost(outright);
    let cost = if outright {
        costs.out_of_place(cost)
    } else {
        cost
    };
    let missing = program.real(cost, f64::INFINITY);
    program.row(
        &[(spoke, 1.0), (missing, 1.0)],
        Relation::AtLeast,
        f64::from(quads),
    );
}

/// How many quads a pole is to keep away from a side, and whether that was asked for outright.
pub(super) fn berth(layout: &Layout, side: &[ArcUse]) -> Option<(u32, bool)> {
    let berths = side.iter().map(|u| layout.arcs[u.arc].berth);
    let widest = berths.max_by_key(|b| (b.1, b.0));
    widest.filter(|b| b.0 > 0)
}

/// What each quad less than that costs, where arcs are weighed.
pub(super) fn berth_cost(outright: bool) -> f64 {
    if outright { BARRED_COST } else { BERTH_COST }
}

/// Whether no curve that an artist sees runs along a side.
pub(super) fn is_laid(layout: &Layout, side: &[ArcUse]) -> bool {
    let mut arcs = side.iter().map(|u| &layout.arcs[u.arc]);
    arcs.all(|a| matches!(a.source, ArcSource::Laid(_)))
}

/// Arcs shorter than a quad that may have none: their ends, where curves come in from either side,
/// become one vertex, and the rows on both sides run on into each other instead of a step aside
/// (quantised T-meshes: Lyon, Campen & Kobbelt 2021). One end at least must be free to move.
pub(super) fn may_vanish(layout: &Layout, edge: f64) -> Vec<bool> {
    let plain = layout.plain_nodes();
    layout
        .arcs
        .iter()
        .map(|arc| {
            let ends = [arc.vertices.first(), arc.vertices.last()];
            ends[0] != ends[1]
                && ends.into_iter().flatten().any(|v| plain.contains(v))
                && arc.length * arc.density < VANISHING * edge
        })
        .collect()
}

/// Spokes of a patch around a pole. A spoke may vanish, the pole then lies on that side, if no
/// curve that an artist sees runs there; two neighbouring ones may not, the pole would be
/// a corner.
fn spokes_of(
    program: &mut Program,
    layout: &Layout,
    costs: &Costs<'_>,
    sides: &[Vec<ArcUse>],
) -> Vec<Variable> {
    let laid = |side: &Vec<ArcUse>| is_laid(layout, side);
    let y: Vec<Variable> = sides
        .iter()
        .map(|s| program.whole(0.0, i32::from(!laid(s)), MOST))
        .collect();
    let mut vanished = Vec::new();
    for (i, side) in sides.iter().enumerate() {
        if laid(side) {
            let gone = program.whole(costs.vanished_spoke(), 0, 1);
            program.row(&[(y[i], 1.0), (gone, 1.0)], Relation::AtLeast, 1.0);
            vanished.push((gone, 1.0));
        }
    }
    // The pole can be on one side only.
    if !vanished.is_empty() {
        program.row(&vanished, Relation::AtMost, 1.0);
    }
    y
}

/// The number of faces, to first order about a plan, within the budget: a product a b changes by
/// b for each a and by a for each b.
fn budget_row(
    program: &mut Program,
    layout: &Layout,
    budget: &Budget<'_>,
    arcs: &[Variable],
    spokes: &[Vec<Variable>],
) {
    let mut terms: Vec<(Variable, f64)> = Vec::new();
    let mut there = 0.0;
    let mut add = |variable: Variable, slope: f64, value: f64| {
        terms.push((variable, slope));
        there += slope * value;
    };
    for (p, patch) in layout.patches.iter().enumerate() {
        let y = &budget.about.spokes[p];
        let n = patch.sides.len();
        if y.is_empty() {
            // A quarter of (bottom + top) (left + right), whether they agree or not.
            for axis in 0..2 {
                let across =
                    budget.about.side(layout, p, 1 - axis) + budget.about.side(layout, p, 3 - axis);
                for used in patch.sides[axis].iter().chain(&patch.sides[axis + 2]) {
                    add(
                        arcs[used.arc],
                        f64::from(across) / 4.0,
                        f64::from(budget.about.arcs[used.arc]),
                    );
                }
            }
        } else {
            for i in 0..n {
                let slope = f64::from(y[(i + n - 1) % n] + y[(i + 1) % n]);
                add(spokes[p][i], slope, f64::from(y[i]));
            }
        }
    }
    let offset = there - budget.about.faces as f64;
    let (low, high) = (1.0 - budget.slack, 1.0 + budget.slack);
    program.row(
        &terms,
        Relation::AtLeast,
        offset + low * budget.wanted as f64,
    );
    program.row(
        &terms,
        Relation::AtMost,
        offset + high * budget.wanted as f64,
    );
}

fn sum_of(arcs: &[Variable], side: &[ArcUse], sign: f64) -> Vec<(Variable, f64)> {
    side.iter().map(|u| (arcs[u.arc], sign)).collect()
}

/// Opposite sides agree up to an even surplus, which costs; the shorter side and the rows
/// must have room for the pattern that takes it up (see `fill`).
fn four_sides(
    program: &mut Program,
    arcs: &[Variable],
    sides: &[Vec<ArcUse>],
    surplus: f64,
    one_axis: bool,
) -> [[Variable; 2]; 2] {
    let pairs = [0, 1].map(|axis| {
        let pair = [0, 1].map(|_| program.whole(surplus, 0, MOST / 4));
        let mut terms = sum_of(arcs, &sides[axis], 1.0);
        terms.extend(sum_of(arcs, &sides[axis + 2], -1.0));
        terms.push((pair[0], -2.0));
        terms.push((pair[1], 2.0));
        program.row(&terms, Relation::Equal, 0.0);
        // Room: the narrow side is at least as wide as half the surplus.
        for (short, more) in [(axis + 2, pair[0]), (axis, pair[1])] {
            let mut room = sum_of(arcs, &sides[short], 1.0);
            room.push((more, -1.0));
            program.row(&room, Relation::AtLeast, 0.0);
            for rows in [1 - axis, 3 - axis] {
                let mut room = sum_of(arcs, &sides[rows], 1.0);
                room.push((more, -ROWS_SHARE));
                program.row(&room, Relation::AtLeast, 1.0);
            }
        }
        pair
    });
    if one_axis {
        let first = program.whole(0.0, 0, 1);
        for (pair, [sign, most]) in pairs.iter().zip([[-1.0, 0.0], [1.0, 1.0]]) {
            for &more in pair {
                let room = f64::from(MOST / 4);
                program.row(
                    &[(more, 1.0), (first, sign * room)],
                    Relation::AtMost,
                    most * room,
                );
            }
        }
    }
    pairs
}

/// Fewest quads that sides of a patch of four need for its surplus, as [`four_sides`] has it.
pub(super) fn room(surplus: [i32; 2]) -> Vec<(usize, u32)> {
    let mut room = Vec::new();
    for (axis, more) in surplus.into_iter().enumerate().filter(|s| s.1 != 0) {
        let narrow = if more > 0 { axis + 2 } else { axis };
        room.push((narrow, more.unsigned_abs()));
        room.extend([1 - axis, 3 - axis].map(|rows| (rows, 2)));
    }
    room
}

/// Patches whose surplus on both axes has no room: `fill` lays the pattern of the first axis, and
/// half the rows are left for that of the other.
pub(super) fn crowded(layout: &Layout, plan: &Plan) -> Vec<usize> {
    let without_room = |&p: &usize| {
        let [along, across] = plan.surplus[p].map(i32::unsigned_abs);
        let rows = || plan.side(layout, p, 1).min(plan.side(layout, p, 3));
        along > 0 && across > 0 && across > rows() / 2
    };
    (0..layout.patches.len()).filter(without_room).collect()
}

fn plan_of(
    layout: &Layout,
    solution: &Solution,
    arcs: &[Variable],
    spokes: &[Vec<Variable>],
    surplus: &[Option<[[Variable; 2]; 2]>],
    edge: f64,
) -> Plan {
    let mut plan = Plan {
        arcs: arcs
            .iter()
            .map(|&v| solution.whole(v).max(0) as u32)
            .collect(),
        spokes: spokes
            .iter()
            .map(|y| y.iter().map(|&v| solution.whole(v).max(0) as u32).collect())
            .collect(),
        surplus: surplus
            .iter()
            .map(|s| match s {
                Some(pairs) => pairs.map(|[a, b]| (solution.whole(a) - solution.whole(b)) as i32),
                None => [0, 0],
            })
            .collect(),
        faces: 0,
        edge,
    };
    plan.faces = (0..layout.patches.len())
        .map(|p| faces_of(layout, &plan, p))
        .sum();
    plan
}

/// Faces of one patch under a plan.
pub(super) fn faces_of(layout: &Layout, plan: &Plan, patch: usize) -> usize {
    let y = &plan.spokes[patch];
    if !y.is_empty() {
        let n = y.len();
        return (0..n).map(|i| (y[i] * y[(i + 1) % n]) as usize).sum();
    }
    let side = |i: usize| plan.side(layout, patch, i) as usize;
    faces_between(side(0), side(1), side(2), side(3))
}

/// Faces of a block of four sides, whose opposite sides may differ: as `fill` lays them, a surplus
/// in one row in the middle, with three faces more for each two edges that it takes up.
fn faces_between(bottom: usize, right: usize, top: usize, left: usize) -> usize {
    if bottom < top {
        return faces_between(top, left, bottom, right);
    }
    if bottom == top {
        return if left == right {
            bottom * left
        } else {
            faces_between(right, top, left, bottom)
        };
    }
    let rows = left.min(right);
    let before = rows.saturating_sub(1) / 2;
    let (left, right) = (
        left.saturating_sub(before + 1),
        right.saturating_sub(before + 1),
    );
    let narrowing = before * bottom + top + 3 * ((bottom - top) / 2);
    narrowing
        + if left == 0 && right == 0 {
            0
        } else {
            faces_between(top, right, top, left)
        }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Found by the robustness corpus: two arcs of one quad each round a hole gave a quad that
    /// names a vertex twice, or an edge with four quads.
    #[test]
    fn arcs_round_a_small_hole_are_found() {
        let arc = |vertices: &[u32]| Arc {
            vertices: vertices.to_vec(),
            source: ArcSource::Chain(0),
            length: 1.0,
            berth: (0, false),
            progress: Vec::new(),
            density: 1.0,
            worth: 1.0,
        };
        let arcs = [
            arc(&[4, 9, 7]),
            arc(&[4, 5]),
            arc(&[7, 8, 4]),
            arc(&[3, 2, 3]),
            arc(&[3, 4]),
            arc(&[4, 6, 7]),
        ];
        let mut found = sharing_ends(&arcs);
        found.sort();
        let pairs = [vec![0, 2], vec![0, 5], vec![2, 5], vec![3]];
        assert_eq!(found, pairs);
    }

    #[test]
    fn a_count_too_few_for_its_guide_goes_where_the_guide_bends() {
        let arc = |worth: f64| Arc {
            vertices: vec![0, 1],
            source: ArcSource::Chain(0),
            length: 2.0,
            berth: (0, false),
            progress: Vec::new(),
            density: 1.0,
            worth,
        };
        let layout = Layout {
            arcs: vec![arc(3.0), arc(1.0)],
            patches: Vec::new(),
            laid: Vec::new(),
            spacing: crate::layout::Spacing::even(0),
            pins: Vec::new(),
            widths: Vec::new(),
        };
        let options = QuantiseOptions::new(1.0, None);
        let shared = |is_short: bool| {
            let promise = Promise {
                guides: vec![0],
                count: 8,
                partly_held: false,
                is_short,
                least: 3,
                arcs: vec![0, 1],
            };
            wanted(&layout, &Asked::new(&[promise], &[0, 0], 1.0, &options, 0))
        };
        assert_eq!(shared(false), [4.0, 4.0]);
        assert_eq!(shared(true), [6.0, 2.0]);
    }
}
