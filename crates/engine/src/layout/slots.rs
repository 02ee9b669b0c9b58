//! Whether a run that was laid along the field has the quarter turns that the field has there.

use std::f64::consts::FRAC_PI_2;

use super::marks::Marks;
use crate::field::Field;

/// Whether the slots at both ends of a run are those of the field's directions, carried along the
/// run itself. A run that meets a curve at a small angle, is cut short where it comes back to itself
/// or passes a singularity on the other side than its streamline has other slots.
pub(super) fn has_the_fields_slots(marks: &Marks, field: &Field, run: &[u32], chains: u32) -> bool {
    // Quarters, in the field's directions at `v`, that the slot of an edge stands for: as the other
    // marks there tell, in the mean, since an edge of a jagged run says little of where the run goes.
    // A chain's edges lie along the field, so they alone are asked where there are any.
    let of_slot = |v: u32, edge: u32| {
        let here = &marks.at[v as usize];
        let mark = here.marks.iter().find(|m| m.edge == edge)?;
        let of_chain = |e: u32| marks.curve_of_edge[e as usize].is_some_and(|c| c < chains);
        let others = || here.marks.iter().filter(|m| m.edge != edge);
        let any_chain = others().any(|m| of_chain(m.edge));
        let (mut x, mut y) = (0.0, 0.0);
        for other in others().filter(|m| of_chain(m.edge) || !any_chain) {
            let way = field.frames.of_edge(&field.topology, other.edge, v);
            let off = way - field.angle[v as usize] - f64::from(other.slot) * FRAC_PI_2;
            x += off.cos();
            y += off.sin();
        }
        (x * x + y * y > 1e-12)
            .then(|| (y.atan2(x) / FRAC_PI_2).round() as i32 + i32::from(mark.slot))
    };
    let edge = |i: usize| field.topology.edge_between(run[i], run[i + 1]);
    let (Some(first), Some(last)) = (edge(0), edge(run.len() - 2)) else {
        return false;
    };
    let end = run[run.len() - 1];
    let (Some(mut ahead), Some(back)) = (of_slot(run[0], first), of_slot(end, last)) else {
        return false;
    };
    for pair in run.windows(2) {
        ahead += match field.topology.half_between(pair[0], pair[1]) {
            Some(half) => field.matching(half),
            None => return false,
        };
    }
    (ahead + 2 - back).rem_euclid(4) == 0
}
