//! Dropping what lies beyond the openings.

use super::dense::Dense;
use super::edit::{EditMesh, NONE};
use super::embed::name_of;
use super::error::WorkError;
use crate::guides::GuideCurves;
use crate::model::{ChainSource, GuideKind};

/// How much was dropped.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub(super) struct Trimmed {
    /// Share of the area that was dropped, 0 to 1.
    pub share: f64,
}

/// Cuts along openings and keeps the pieces that hold the other guides; without other
/// guides, the piece with the largest area.
pub(super) fn trim(work: &mut Dense<'_>, curves: &GuideCurves) -> Result<Trimmed, WorkError> {
    let is_opening = |rail: u32| match work.rails[rail as usize].source {
        ChainSource::Curve(i) => curves
            .curves
            .get(i)
            .is_some_and(|c| c.kind == GuideKind::Opening),
        _ => false,
    };
    let opening: Vec<bool> = (0..work.rails.len() as u32).map(is_opening).collect();
    let cuts = |h: u32| {
        work.mesh
            .segment_of(h)
            .is_some_and(|s| opening[work.mesh.segments[s as usize].rail as usize])
    };
    if !work
        .mesh
        .edges()
        .any(|h| cuts(h) && work.mesh.twin[h as usize] != NONE)
    {
        return Ok(Trimmed::default());
    }
    let (piece, count) = pieces(&work.mesh, cuts);
    let keep = kept_pieces(work, curves, &piece, count);
    for h in 0..work.mesh.twin.len() as u32 {
        let twin = work.mesh.twin[h as usize];
        if !work.mesh.is_edge(h) || twin == NONE || !cuts(h) {
            continue;
        }
        let [one, two] = [h, twin].map(|x| keep[piece[(x / 3) as usize] as usize]);
        if one && two {
            let rail = work.mesh.segments[work.mesh.seg[h as usize] as usize].rail;
            let at = work.mesh.pos[work.mesh.from(h) as usize];
            return Err(WorkError::OpeningPartsNothing {
                guide: name_of(work, rail, curves),
                at: at.to_array(),
            });
        }
    }
    let area = |t: usize| work.mesh.area_normal(t).length();
    let all: f64 = (0..work.mesh.tri.len())
        .filter(|&t| work.mesh.alive(t))
        .map(area)
        .sum();
    let stays = |t: usize| work.mesh.alive(t) && keep[piece[t] as usize];
    let kept: f64 = (0..work.mesh.tri.len())
        .filter(|&t| stays(t))
        .map(area)
        .sum();
    let stays: Vec<bool> = (0..work.mesh.tri.len()).map(stays).collect();
    rebuild(work, &stays)?;
    Ok(Trimmed {
        share: 1.0 - kept / all,
    })
}

/// Piece of each triangle, and their number.
fn pieces(mesh: &EditMesh, cuts: impl Fn(u32) -> bool) -> (Vec<u32>, usize) {
    let mut piece = vec![NONE; mesh.tri.len()];
    let mut count = 0;
    for start in 0..mesh.tri.len() {
        if !mesh.alive(start) || piece[start] != NONE {
            continue;
        }
        let mut stack = vec![start];
        piece[start] = count;
        while let Some(t) = stack.pop() {
            for i in 0..3 {
                let h = (3 * t + i) as u32;
                if let Some(twin) = mesh.twin_of(h)
                    && !cuts(h)
                    && piece[(twin / 3) as usize] == NONE
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

/// Which pieces stay: for each guide that is no opening, the one with most of its length.
fn kept_pieces(work: &Dense<'_>, curves: &GuideCurves, piece: &[u32], count: usize) -> Vec<bool> {
    let mesh = &work.mesh;
    let mut length = vec![vec![0.0; count]; work.rails.len()];
    let mut area = vec![0.0; count];
    for t in 0..mesh.tri.len() {
        if mesh.alive(t) {
            area[piece[t] as usize] += mesh.area_normal(t).length();
        }
    }
    for h in mesh.edges() {
        let Some(seg) = mesh.segment_of(h) else {
            continue;
        };
        let segment = &mesh.segments[seg as usize];
        for side in [Some(h), mesh.twin_of(h)].into_iter().flatten() {
            length[segment.rail as usize][piece[(side / 3) as usize] as usize] +=
                segment.params[1] - segment.params[0];
        }
    }
    let mut keep = vec![false; count];
    let most = |of: &[f64]| {
        let mut best = 0;
        for i in 0..of.len() {
            if of[i] > of[best] {
                best = i;
            }
        }
        best
    };
    let mut any = false;
    for (rail, of) in length.iter().enumerate() {
        let ChainSource::Curve(i) = work.rails[rail].source else {
            continue;
        };
        let holds = curves
            .curves
            .get(i)
            .is_some_and(|c| c.kind != GuideKind::Opening);
        if holds && of.iter().any(|&l| l > 0.0) {
            keep[most(of)] = true;
            any = true;
        }
    }
    if !any && count > 0 {
        keep[most(&area)] = true;
    }
    keep
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
