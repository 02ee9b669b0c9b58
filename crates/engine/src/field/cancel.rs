//! Takes out pairs of singular places that serve nothing.

use mesh::DVec3;

use super::Singularity;
use super::periods::Periods;

/// A singular place's partners that are tried, nearest first.
const PARTNERS: usize = 4;
/// Most pairs that are tried together.
const AT_ONCE: usize = 16;

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
    // Most tries fail and change nothing, so the next few are tried together; after one that is
    // taken they start from another field, so few of them then.
    let mut few = 1;
    let mut next = 0;
    while next < pairs.len() {
        let there = |t: u32| left.iter().any(|s| s.triangle == t && s.quarters != 0);
        let mut some: Vec<usize> = Vec::new();
        while next < pairs.len() && some.len() < few {
            let (from, (to, _, _)) = &pairs[next];
            if there(*from) && there(*to) {
                some.push(next);
            }
            next += 1;
        }
        let walks: Vec<&[u32]> = some.iter().map(|&i| pairs[i].1.2.as_slice()).collect();
        let tried = periods.tries(&walks, 1, 1);
        let serves = |after: &Option<f64>| after.is_some_and(|e| e <= energy + rule.price);
        let Some(k) = tried.iter().position(serves) else {
            few = (2 * few).min(AT_ONCE);
            continue;
        };
        let (from, (to, _, walk)) = &pairs[some[k]];
        periods.carry(walk, 1);
        periods.solve_once();
        energy = periods.energy();
        for s in &mut left {
            s.quarters += i32::from(s.triangle == *to) - i32::from(s.triangle == *from);
        }
        next = some[k] + 1;
        few = 1;
    }
    periods.solve_once();
    left.retain(|s| s.quarters != 0);
    left
}
