//! Dropping what lies beyond the openings, and crumbs.

use std::collections::BTreeMap;

use mesh::DVec3;

use super::dense::Dense;
use super::edit::{EditMesh, NONE};
use super::embed::name_of;
use super::error::WorkError;
use crate::guides::GuideCurves;
use crate::model::{ChainSource, GuideKind};

/// How much was dropped.
#[derive(Clone, Debug, Default, PartialEq)]
pub(super) struct Trimmed {
    /// Share of the area that lay beyond openings, 0 to 1.
    pub beyond: f64,
    /// Loose parts smaller than a few quads that were left out.
    pub crumbs: usize,
    /// Curves of which an opening cuts a part off: index, opening's name, share that is gone.
    pub cut: Vec<(usize, String, f64)>,
}

/// Loose parts with less area than this are crumbs, in squared work edges: two quads.
const CRUMB: f64 = 25.0;

/// Pieces whose outward facing differs by less than this share of their area times its root are as
/// good as flat.
const FLAT: f64 = 0.01;

/// The mesh in parts that hang together, and in pieces that hang together once the
/// openings are cut.
struct Pieces {
    part: Vec<u32>,
    piece: Vec<u32>,
    /// Part of each piece.
    part_of: Vec<u32>,
    /// Area of each piece, square model units.
    area: Vec<f64>,
    /// How much of a piece faces outwards, seen from the middle of its part: the sum of
    /// area times normal times arm.
    outward: Vec<f64>,
    /// Whether a piece holds most of a guide that is no opening.
    holds: Vec<bool>,
    /// Whether held quads stand for a piece.
    taken: Vec<bool>,
    /// Each guide that is no opening with the piece that holds most of it, and how much, model units.
    held: Vec<(usize, u32, f64)>,
}

/// Cuts along openings. Of each part of the sculpt the pieces that hold guides stay, each
/// guide being held by the piece with most of its length; of a part without guides, the
/// piece that faces outwards most, which is the outer wall of a thick cloth.
pub(super) fn trim(work: &mut Dense<'_>, curves: &GuideCurves) -> Result<Trimmed, WorkError> {
    let is_opening = |rail: u32| match work.rails[rail as usize].source {
        ChainSource::Curve(i) => curves
            .curves
            .get(i)
            .is_some_and(|c| matches!(c.kind, GuideKind::Opening | GuideKind::Hold)),
        _ => false,
    };
    let opening: Vec<bool> = (0..work.rails.len() as u32).map(is_opening).collect();
    let cuts = |h: u32| {
        work.mesh
            .segment_of(h)
            .is_some_and(|s| opening[work.mesh.segments[s as usize].rail as usize])
    };
    let mut pieces = Pieces::new(work, curves, cuts);
    pieces.leave_held(work, curves)?;
    let (keep, crumbs) = pieces.kept(CRUMB * work.edge * work.edge);
    for h in 0..work.mesh.twin.len() as u32 {
        let twin = work.mesh.twin[h as usize];
        if twin == NONE || !work.mesh.is_edge(h) || !cuts(h) {
            continue;
        }
        let [one, two] = [h, twin].map(|x| keep[pieces.piece[(x / 3) as usize] as usize]);
        let sides = [h, twin].map(|x| pieces.piece[(x / 3) as usize]);
        if one && two {
            if sides[0] != sides[1] {
                return Err(pieces.on_both_sides(work, curves, h, sides));
            }
            let rail = work.mesh.segments[work.mesh.seg[h as usize] as usize].rail;
            let at = work.mesh.pos[work.mesh.from(h) as usize];
            return Err(WorkError::OpeningPartsNothing {
                guide: name_of(work, rail, curves),
                at: at.to_array(),
            });
        }
    }
    let cut = cut_guides(work, curves, &pieces, &keep, &opening)?;
    if keep.iter().all(|&k| k) {
        return Ok(Trimmed::default());
    }
    let stays: Vec<bool> = (0..work.mesh.tri.len())
        .map(|t| work.mesh.alive(t) && keep[pieces.piece[t] as usize])
        .collect();
    rebuild(work, &stays)?;
    let all: f64 = pieces.area.iter().sum();
    let kept: f64 = (0..keep.len())
        .filter(|&p| keep[p])
        .map(|p| pieces.area[p])
        .sum();
    Ok(Trimmed {
        beyond: 1.0 - kept / all,
        crumbs,
        cut,
    })
}

/// Refuses rings, and guides with counts, of which a part lies beyond an opening: a stretch that
/// is left can't be a closed run of edges, nor have all the quads.
fn cut_guides(
    work: &Dense<'_>,
    curves: &GuideCurves,
    pieces: &Pieces,
    keep: &[bool],
    opening: &[bool],
) -> Result<Vec<(usize, String, f64)>, WorkError> {
    let mesh = &work.mesh;
    let mut cut = Vec::new();
    // Length kept and lost, and a vertex where both meet an opening.
    let mut lengths = vec![[0.0f64; 2]; curves.curves.len()];
    let mut met: Vec<Option<(u32, u32)>> = vec![None; curves.curves.len()];
    let mut opening_at: BTreeMap<u32, u32> = BTreeMap::new();
    for segment in mesh.segments.iter().filter(|s| s.rail != NONE) {
        if opening[segment.rail as usize] {
            opening_at.extend(segment.ends.map(|v| (v, segment.rail)));
        }
    }
    for h in mesh.edges() {
        let Some(segment) = mesh.segment_of(h).map(|s| mesh.segments[s as usize]) else {
            continue;
        };
        let ChainSource::Curve(curve) = work.rails[segment.rail as usize].source else {
            continue;
        };
        let stays = [Some(h), mesh.twin_of(h)]
            .into_iter()
            .flatten()
            .any(|x| keep[pieces.piece[(x / 3) as usize] as usize]);
        lengths[curve][usize::from(!stays)] += segment.params[1] - segment.params[0];
        for v in segment.ends {
            if let Some(&rail) = opening_at.get(&v)
                && met[curve].is_none()
            {
                met[curve] = Some((v, rail));
            }
        }
    }
    for (i, curve) in curves.curves.iter().enumerate() {
        let [kept, lost] = lengths[i];
        let (Some((v, rail)), true) = (met[i], kept > 0.0 && lost > work.edge) else {
            continue;
        };
        let is_ring = curve.kind == GuideKind::Ring;
        if matches!(curve.kind, GuideKind::Opening | GuideKind::Hold) {
            continue;
        }
        if !(is_ring || curve.count.is_some()) {
            cut.push((i, name_of(work, rail, curves), lost / (kept + lost)));
            continue;
        }
        return Err(WorkError::OpeningCuts {
            opening: name_of(work, rail, curves),
            what: if is_ring { "ring" } else { "line" },
            guide: curves.names.get(i).cloned().unwrap_or_default(),
            gone: 100.0 * lost / (kept + lost),
            count: curve.count,
            at: mesh.pos[v as usize].to_array(),
        });
    }
    Ok(cut)
}

impl Pieces {
    /// The refusal where pieces on both sides of an opening's edge hold guides.
    fn on_both_sides(
        &self,
        work: &Dense<'_>,
        curves: &GuideCurves,
        h: u32,
        sides: [u32; 2],
    ) -> WorkError {
        let rail = work.mesh.segments[work.mesh.seg[h as usize] as usize].rail;
        // Longest guide of each side, the larger side first.
        let mut sides = sides;
        if self.area[sides[0] as usize] < self.area[sides[1] as usize] {
            sides.swap(0, 1);
        }
        let of = |piece: u32| {
            let held = self.held.iter().filter(|h| h.1 == piece);
            let longest = held.max_by(|a, b| a.2.total_cmp(&b.2).then(b.0.cmp(&a.0)));
            let name = longest.and_then(|h| curves.names.get(h.0).cloned());
            name.unwrap_or_default()
        };
        WorkError::GuidesOnBothSides {
            guide: name_of(work, rail, curves),
            one: of(sides[0]),
            two: of(sides[1]),
            at: work.mesh.pos[work.mesh.from(h) as usize].to_array(),
        }
    }

    fn new(work: &Dense<'_>, curves: &GuideCurves, cuts: impl Fn(u32) -> bool) -> Self {
        let mesh = &work.mesh;
        let (part, parts) = flood(mesh, |_| false);
        let (piece, count) = flood(mesh, cuts);
        let mut pieces = Self {
            part_of: vec![0; count],
            area: vec![0.0; count],
            outward: vec![0.0; count],
            holds: vec![false; count],
            taken: vec![false; count],
            held: Vec::new(),
            part,
            piece,
        };
        for t in (0..mesh.tri.len()).filter(|&t| mesh.alive(t)) {
            let piece = pieces.piece[t] as usize;
            pieces.part_of[piece] = pieces.part[t];
            pieces.area[piece] += mesh.area_normal(t).length() / 2.0;
        }
        pieces.find_outward(mesh, parts);
        pieces.find_holders(work, curves);
        pieces
    }

    fn find_outward(&mut self, mesh: &EditMesh, parts: usize) {
        let mut middles = vec![(DVec3::ZERO, 0.0); parts];
        for t in (0..mesh.tri.len()).filter(|&t| mesh.alive(t)) {
            let (sum, area) = &mut middles[self.part[t] as usize];
            let size = mesh.area_normal(t).length();
            *sum += mesh.centre(t) * size;
            *area += size;
        }
        for t in (0..mesh.tri.len()).filter(|&t| mesh.alive(t)) {
            let (sum, area) = middles[self.part[t] as usize];
            let arm = mesh.centre(t) - sum / f64::max(area, f64::MIN_POSITIVE);
            self.outward[self.piece[t] as usize] += arm.dot(mesh.area_normal(t));
        }
    }

    /// Marks for each guide that is no opening the piece with most of its length.
    fn find_holders(&mut self, work: &Dense<'_>, curves: &GuideCurves) {
        let mesh = &work.mesh;
        let mut lengths: BTreeMap<(usize, u32), f64> = BTreeMap::new();
        for h in mesh.edges() {
            let Some(seg) = mesh.segment_of(h) else {
                continue;
            };
            let segment = &mesh.segments[seg as usize];
            let ChainSource::Curve(curve) = work.rails[segment.rail as usize].source else {
                continue;
            };
            for side in [Some(h), mesh.twin_of(h)].into_iter().flatten() {
                let key = (curve, self.piece[(side / 3) as usize]);
                *lengths.entry(key).or_default() += segment.params[1] - segment.params[0];
            }
        }
        for (i, curve) in curves.curves.iter().enumerate() {
            if matches!(curve.kind, GuideKind::Opening | GuideKind::Hold) {
                continue;
            }
            let most = lengths
                .range((i, 0)..=(i, u32::MAX))
                .max_by(|a, b| a.1.total_cmp(b.1).then(b.0.cmp(a.0)));
            if let Some((&(_, piece), &length)) = most {
                self.holds[piece as usize] = true;
                self.held.push((i, piece, length));
            }
        }
    }

    /// Leaves out the pieces on the held side of rims; those on their other side stay.
    fn leave_held(&mut self, work: &Dense<'_>, curves: &GuideCurves) -> Result<(), WorkError> {
        let mesh = &work.mesh;
        let mut beside: Vec<Option<u32>> = vec![None; self.area.len()];
        for h in mesh.edges() {
            let Some(segment) = mesh.segment_of(h).map(|s| mesh.segments[s as usize]) else {
                continue;
            };
            let is_rim = match work.rails[segment.rail as usize].source {
                ChainSource::Curve(i) => curves
                    .curves
                    .get(i)
                    .is_some_and(|c| c.kind == GuideKind::Hold),
                _ => false,
            };
            if !is_rim {
                continue;
            }
            for side in [Some(h), mesh.twin_of(h)].into_iter().flatten() {
                let piece = self.piece[(side / 3) as usize] as usize;
                // Rims run with the held quads on their left.
                if mesh.from(side) == segment.ends[0] {
                    self.taken[piece] = true;
                } else {
                    beside[piece] = beside[piece].or(Some(side));
                }
            }
        }
        for (piece, beside) in beside.into_iter().enumerate() {
            let Some(h) = beside else {
                if self.taken[piece] {
                    self.holds[piece] = false;
                }
                continue;
            };
            if self.taken[piece] {
                let rail = mesh
                    .segment_of(h)
                    .map_or(NONE, |s| mesh.segments[s as usize].rail);
                let at = mesh.pos[mesh.from(h) as usize];
                return Err(WorkError::OpeningPartsNothing {
                    guide: name_of(work, rail, curves),
                    at: at.to_array(),
                });
            }
            self.holds[piece] = true;
        }
        Ok(())
    }

    /// Whether a piece faces outwards more than another; where both are as good as flat, whether it
    /// is larger.
    fn lies_further_out(&self, piece: usize, other: usize) -> bool {
        let area = self.area[piece] + self.area[other];
        let apart = self.outward[piece] - self.outward[other];
        if apart.abs() > FLAT * area * area.sqrt() {
            apart > 0.0
        } else {
            self.area[piece] > self.area[other]
        }
    }

    /// Which pieces stay, and how many parts are crumbs.
    fn kept(&self, crumb: f64) -> (Vec<bool>, usize) {
        let parts = self
            .part_of
            .iter()
            .map(|&p| p as usize + 1)
            .max()
            .unwrap_or(0);
        let mut area = vec![0.0; parts];
        let mut held = vec![false; parts];
        let mut outermost: Vec<Option<usize>> = vec![None; parts];
        for piece in 0..self.area.len() {
            let part = self.part_of[piece] as usize;
            area[part] += self.area[piece];
            held[part] |= self.holds[piece];
            if !self.taken[piece]
                && outermost[part].is_none_or(|other| self.lies_further_out(piece, other))
            {
                outermost[part] = Some(piece);
            }
        }
        // A sculpt may be small as a whole: its largest part is never a crumb.
        let most = area.iter().copied().fold(0.0, f64::max);
        let is_crumb = |part: usize| !held[part] && area[part] < crumb && area[part] < 0.1 * most;
        let keep = (0..self.area.len()).map(|piece| {
            let part = self.part_of[piece] as usize;
            if self.taken[piece] {
                false
            } else if held[part] {
                self.holds[piece]
            } else {
                outermost[part] == Some(piece) && !is_crumb(part)
            }
        });
        (keep.collect(), (0..parts).filter(|&p| is_crumb(p)).count())
    }
}

/// Which triangles hang together across edges that aren't cut: a number for each, and how
/// many numbers there are.
fn flood(mesh: &EditMesh, cuts: impl Fn(u32) -> bool) -> (Vec<u32>, usize) {
    let mut piece = vec![NONE; mesh.tri.len()];
    let mut count = 0;
    let mut stack = Vec::new();
    for start in 0..mesh.tri.len() {
        if !mesh.alive(start) || piece[start] != NONE {
            continue;
        }
        stack.push(start);
        piece[start] = count;
        while let Some(t) = stack.pop() {
            for i in 0..3 {
                let h = (3 * t + i) as u32;
                if let Some(twin) = mesh.twin_of(h)
                    && piece[(twin / 3) as usize] == NONE
                    && !cuts(h)
                {
                    piece[(twin / 3) as usize] = count;
                    stack.push((twin / 3) as usize);
                }
            }
        }
        count += 1;
    }
    (piece, count as usize)
}

/// Keeps some triangles, with the segments of their edges.
fn rebuild(work: &mut Dense<'_>, stays: &[bool]) -> Result<(), WorkError> {
    let old = std::mem::take(&mut work.mesh);
    let kept: Vec<usize> = (0..old.tri.len()).filter(|&t| stays[t]).collect();
    let tri = kept.iter().map(|&t| old.tri[t]).collect();
    let mut mesh = EditMesh::from_parts(old.pos.clone(), tri)
        .map_err(|e| WorkError::Broken(format!("trimming broke edge {:?}", e.vertices)))?;
    for (new, &t) in kept.iter().enumerate() {
        for i in 0..3 {
            let (h, was) = ((3 * new + i) as u32, (3 * t + i) as u32);
            if mesh.twin[h as usize] != NONE && mesh.twin[h as usize] < h {
                continue;
            }
            if let Some(seg) = old.segment_of(was) {
                let segment = old.segments[seg as usize];
                let (a, b) = (mesh.from(h), mesh.to(h));
                let ends = if old.from(was) == segment.ends[0] {
                    [a, b]
                } else {
                    [b, a]
                };
                mesh.tag_edge(h, segment.rail, ends, segment.params);
            }
        }
    }
    work.mesh = mesh;
    work.mesh.compact();
    Ok(())
}
