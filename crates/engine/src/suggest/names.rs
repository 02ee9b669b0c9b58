//! Names and counts of the proposals that stand.

use mesh::DVec3;

use super::Proposal;
use super::ground::Ground;
use super::limbs::Limb;
use crate::model::{Guide, GuideKind};

/// Rings of a limb get one count if the longest is at most this many times as long as the
/// shortest: differing counts cost poles between them.
const ALIKE: f64 = 1.6;
/// Fewest quads of a ring.
const LEAST_COUNT: u32 = 4;
/// A drawn ring with at least this share of its points on a limb is one of its rings.
const ON_LIMB: f64 = 0.8;

/// What a proposal is called after.
#[derive(Clone, Debug, PartialEq)]
pub(super) enum Word {
    /// A place on a limb; the ring's length, model units.
    Limb {
        limb: usize,
        place: &'static str,
        length: f64,
    },
    /// An edge of cloth, so long in model units.
    Cloth {
        length: f64,
    },
    Ridge,
    Valley,
    Centre,
}

/// A proposal that stands, not yet named.
pub(super) struct Kept {
    pub kind: GuideKind,
    pub closed: bool,
    pub points: Vec<DVec3>,
    pub reason: String,
    pub confidence: f64,
    pub word: Word,
}

/// Names proposals, gives rings their counts, and puts the surest first.
pub(super) fn proposals(
    mut kept: Vec<Kept>,
    limbs: &[Limb],
    guides: &[Guide],
    ground: &Ground<'_>,
) -> Vec<Proposal> {
    kept.sort_by(|a, b| b.confidence.total_cmp(&a.confidence));
    let numbers = numbers(&kept, limbs);
    let counts = counts(&kept, limbs, guides, ground);
    let mut names: Vec<String> = guides.iter().map(|g| g.name.clone()).collect();
    kept.into_iter()
        .zip(counts)
        .map(|(one, count)| {
            let base = match &one.word {
                Word::Limb { limb, place, .. } => format!("limb {}, {place}", numbers[*limb]),
                Word::Cloth { .. } => "edge of the cloth 1".to_owned(),
                Word::Ridge => "ridge 1".to_owned(),
                Word::Valley => "valley 1".to_owned(),
                Word::Centre => "centre line 1".to_owned(),
            };
            let name = free_name(&base, &names);
            names.push(name.clone());
            Proposal {
                guide: Guide {
                    name,
                    kind: one.kind,
                    closed: one.closed,
                    count,
                    points: one.points,
                },
                reason: one.reason,
                // Two places are all that such a guess can bear.
                confidence: (100.0 * one.confidence.clamp(0.0, 1.0)).round() / 100.0,
            }
        })
        .collect()
}

/// A name that none has yet: `base`, or with the next free number.
fn free_name(base: &str, names: &[String]) -> String {
    let free = |name: &String| !names.contains(name);
    let stem = base.strip_suffix(" 1").unwrap_or(base);
    std::iter::once(base.to_owned())
        .chain((2..).map(|n| format!("{stem} {n}")))
        .find(free)
        .unwrap_or_default()
}

/// A number for each limb that has a ring, from 1, the thickest first; 0 for others.
fn numbers(kept: &[Kept], limbs: &[Limb]) -> Vec<usize> {
    let ringed = |limb: usize| {
        kept.iter()
            .any(|k| matches!(k.word, Word::Limb { limb: l, .. } if l == limb))
    };
    let mut order: Vec<usize> = (0..limbs.len()).filter(|&l| ringed(l)).collect();
    order.sort_by(|&a, &b| limbs[b].girth().total_cmp(&limbs[a].girth()));
    let mut numbers = vec![0; limbs.len()];
    for (n, limb) in order.into_iter().enumerate() {
        numbers[limb] = n + 1;
    }
    numbers
}

/// An even number of quads, so that a mirror plane can halve it and a cap can close it.
fn even_count(length: f64, edge: f64) -> u32 {
    let halves = (length / edge / 2.0).round().clamp(0.0, 4000.0) as u32;
    (2 * halves).max(LEAST_COUNT)
}

/// Counts of rings; `None` for lines, whose counts the layout can choose.
fn counts(
    kept: &[Kept],
    limbs: &[Limb],
    guides: &[Guide],
    ground: &Ground<'_>,
) -> Vec<Option<u32>> {
    let ring_of = |k: &Kept| match k.word {
        Word::Limb { limb, length, .. } => Some((limb, length)),
        _ => None,
    };
    kept.iter()
        .map(|k| {
            if let Word::Cloth { length } = k.word {
                return Some(even_count(length, ground.edge));
            }
            let (limb, length) = ring_of(k)?;
            let lengths = || {
                let all = kept.iter().filter_map(ring_of);
                all.filter(|r| r.0 == limb).map(|r| r.1)
            };
            let (shortest, longest) =
                lengths().fold((length, length), |(s, l), x| (s.min(x), l.max(x)));
            let alike = longest <= ALIKE * shortest;
            if let Some(drawn) = drawn_count(&limbs[limb], guides, ground)
                && alike
                && (1.0 / ALIKE..=ALIKE).contains(&(length / (f64::from(drawn) * ground.edge)))
                && drawn.is_multiple_of(2)
            {
                return Some(drawn);
            }
            let mean = lengths().sum::<f64>() / lengths().count().max(1) as f64;
            Some(even_count(if alike { mean } else { length }, ground.edge))
        })
        .collect()
}

/// The count of the first drawn ring that lies on a limb.
fn drawn_count(limb: &Limb, guides: &[Guide], ground: &Ground<'_>) -> Option<u32> {
    let on = |p: &DVec3| {
        let near = ground.index.closest(*p);
        near.is_some_and(|c| limb.triangles.binary_search(&c.triangle).is_ok())
    };
    guides
        .iter()
        .filter(|g| g.closed && g.count.is_some())
        .find_map(|g| {
            let share =
                g.points.iter().filter(|p| on(p)).count() as f64 / g.points.len().max(1) as f64;
            (share >= ON_LIMB).then_some(g.count).flatten()
        })
}
