//! Takes out pairs of singular places that serve nothing.

use mesh::DVec3;

use super::Singularity;
use super::periods::Periods;

/// A singular place's partners that are tried, nearest first.
const PARTNERS: usize = 4;

/// When a pair of opposite singular places is taken out.
#[derive(Clone, Copy, Debug)]
pub(super) struct Cancelling {
    /// Longest way between the two, model units.
    pub reach: f64,
    /// Most that the field's energy (square radians, summed over edges) may rise by for it.
    pub price: f64,
}

/// Takes out pairs, the nearest first, as long as the field stays true to its jumps and turns by
/// little more than before. Answers the indices that are left, by triangle, in rising order.
pub(super) fn cancel(
    periods: &mut Periods<'_>,
    middles: &[DVec3],
    singular: &[Singularity],
    rule: Cancelling,
) -> Vec<Singularity> {
    let mut left: Vec<Singularity> = singular.to_vec();
    let goals: Vec<u32> = left
        .iter()
        .filter(|s| s.quarters < 0)
        .map(|s| s.triangle)
        .collect();
    let mut pairs = Vec::new();
    for one in left.iter().filter(|s| s.quarters > 0) {
        let walks = periods.walks(middles, one.triangle, &goals, rule.reach);
        pairs.extend(walks.into_iter().take(PARTNERS).map(|w| (one.triangle, w)));
    }
    pairs.sort_by(|a, b| {
        let by_way = a.1.1.total_cmp(&b.1.1);
        by_way.then(a.0.cmp(&b.0)).then(a.1.0.cmp(&b.1.0))
    });
    let mut energy = periods.energy();
    for (from, (to, _, walk)) in pairs {
        let there = |t: u32| left.iter().any(|s| s.triangle == t && s.quarters != 0);
        if !there(from) || !there(to) {
            continue;
        }
        let before = periods.state();
        periods.carry(&walk, 1);
        periods.solve_once();
        let after = periods.energy();
        if periods.is_true() && after <= energy + rule.price {
            energy = after;
            for s in &mut left {
                s.quarters += i32::from(s.triangle == to) - i32::from(s.triangle == from);
            }
        } else {
            periods.restore(before);
        }
    }
    periods.solve_once();
    left.retain(|s| s.quarters != 0);
    left
}
