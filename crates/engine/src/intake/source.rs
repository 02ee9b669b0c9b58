//! From the file's triangles to a welded shell of the part asked for.

use base::{Level, Tolerances};

use super::shell::{NONE, Shell};
use super::{IntakeError, IntakeOptions, IntakeReport, Part, RawTriangles, diagonal, weld};

/// Welding never reaches farther than this share of the middle edge length, so that a
/// stray far vertex can't make it swallow the surface.
const WELD_OF_EDGE: f64 = 0.02;

/// The triangles of the part asked for, with sound indices.
pub(super) fn choose_part(
    raw: &RawTriangles,
    options: &IntakeOptions,
) -> Result<Vec<[u32; 3]>, IntakeError> {
    let limit = (u32::MAX / 3) as usize - 1;
    let triangles = raw.triangles.len();
    if triangles == 0 {
        return Err(IntakeError::Empty);
    }
    if triangles > limit {
        return Err(IntakeError::TooLarge { triangles, limit });
    }
    let chosen = match &options.part {
        Some(Part::Named(name)) => named_part(raw, name)?,
        None | Some(Part::Largest) => raw.triangles.clone(),
    };
    let vertices = raw.positions.len();
    for (triangle, corners) in raw.triangles.iter().enumerate() {
        if let Some(&vertex) = corners.iter().find(|&&v| v as usize >= vertices) {
            return Err(IntakeError::BadIndex {
                triangle,
                vertex,
                vertices,
            });
        }
    }
    Ok(chosen)
}

fn named_part(raw: &RawTriangles, name: &str) -> Result<Vec<[u32; 3]>, IntakeError> {
    let mut chosen = Vec::new();
    let mut is_known = false;
    for part in raw.parts.iter().filter(|p| p.name == name) {
        is_known = true;
        for range in &part.triangles {
            let span = range.start as usize..range.end as usize;
            let Some(some) = raw.triangles.get(span) else {
                return Err(IntakeError::BadPart {
                    name: name.to_owned(),
                    triangle: range.start.max(raw.triangles.len() as u32),
                    triangles: raw.triangles.len(),
                });
            };
            chosen.extend_from_slice(some);
        }
    }
    if is_known && !chosen.is_empty() {
        return Ok(chosen);
    }
    let mut known: Vec<String> = raw.parts.iter().map(|p| p.name.clone()).collect();
    known.sort_unstable();
    known.dedup();
    Err(IntakeError::NoSuchPart {
        name: name.to_owned(),
        known,
    })
}

/// Joins vertices at the same place, drops unused ones and triangles on less than three places.
pub(super) fn weld_all(
    raw: &RawTriangles,
    mut triangles: Vec<[u32; 3]>,
    report: &mut IntakeReport,
) -> Result<Shell, IntakeError> {
    let mut used = vec![false; raw.positions.len()];
    triangles
        .iter()
        .flatten()
        .for_each(|&v| used[v as usize] = true);
    let is_bad = |v: &usize| used[*v] && !raw.positions[*v].is_finite();
    let mut bad = (0..used.len()).filter(is_bad);
    if let Some(first) = bad.next() {
        return Err(IntakeError::NotFinite {
            first,
            others: bad.count(),
        });
    }
    let joined = weld::weld(&raw.positions, &used, weld_reach(raw, &triangles, &used)).first;
    let mut name = vec![NONE; joined.len()];
    let mut positions = Vec::new();
    let mut doubled = Vec::new();
    for v in 0..joined.len() {
        let first = joined[v] as usize;
        if used[v] && first == v {
            name[v] = positions.len() as u32;
            positions.push(raw.positions[v]);
        } else if used[v] {
            name[v] = name[first];
            report.doubled_vertices += 1;
            if doubled.len() < 5 {
                doubled.push(raw.positions[v].as_dvec3());
            }
        }
    }
    let mut empty_at = Vec::new();
    triangles.retain_mut(|corners| {
        *corners = corners.map(|v| name[v as usize]);
        let [a, b, c] = *corners;
        let sound = a != b && b != c && c != a;
        if !sound {
            report.zero_area += 1;
            if empty_at.len() < 5 {
                empty_at.push(positions[a as usize].as_dvec3());
            }
        }
        sound
    });
    if triangles.is_empty() {
        return Err(IntakeError::NoArea);
    }
    let sentence = [
        "1 vertex lay on another and was joined to it.",
        "# vertices lay on others and were joined to them.",
    ];
    report.note(
        "doubled-vertices",
        Level::Note,
        report.doubled_vertices,
        sentence,
        &doubled,
    );
    let sentence = [
        "1 triangle had two corners at one place and was dropped.",
        "# triangles had two corners at one place and were dropped.",
    ];
    report.note(
        "zero-area",
        Level::Note,
        report.zero_area,
        sentence,
        &empty_at,
    );
    Ok(Shell::new(positions, triangles))
}

/// How near two vertices must be to be one (model units).
fn weld_reach(raw: &RawTriangles, triangles: &[[u32; 3]], used: &[bool]) -> f64 {
    const SAMPLES: usize = 4096;
    let stride = triangles.len().div_ceil(SAMPLES).max(1);
    let point = |v: u32| raw.positions[v as usize].as_dvec3();
    let mut lengths: Vec<f64> = triangles
        .iter()
        .step_by(stride)
        .map(|t| point(t[0]).distance(point(t[1])))
        .collect();
    lengths.sort_unstable_by(f64::total_cmp);
    let middle = lengths.get(lengths.len() / 2).copied().unwrap_or(0.0);
    let points = raw.positions.iter().zip(used).filter(|(_, used)| **used);
    let tolerance = Tolerances::of_diagonal(diagonal(points.map(|(p, _)| p))).weld;
    tolerance.min(WELD_OF_EDGE * middle)
}
