//! Guides in a file beside a sculpt: read for `--sculpts`, written by `--save`.

use engine::model::{Guide, GuideKind, Plane};
use engine::symmetry::PlaneChoice;
use mesh::DVec3;
use serde::{Deserialize, Serialize};

use crate::cases::Case;

#[derive(Deserialize, Serialize)]
struct GuideFile {
    symmetry: Option<PlaneSpec>,
    guides: Vec<GuideSpec>,
}

#[derive(Deserialize, Serialize)]
struct PlaneSpec {
    origin: [f64; 3],
    normal: [f64; 3],
}

#[derive(Deserialize, Serialize)]
#[serde(rename_all = "lowercase")]
enum KindSpec {
    Ring,
    Line,
    Opening,
}

#[derive(Deserialize, Serialize)]
struct GuideSpec {
    name: String,
    kind: KindSpec,
    closed: bool,
    count: Option<u32>,
    points: Vec<[f64; 3]>,
}

/// Guides and mirror plane from a file's text.
///
/// # Errors
/// What is wrong with the text.
pub fn read(text: &str) -> Result<(Vec<Guide>, PlaneChoice), serde_json::Error> {
    let spec: GuideFile = serde_json::from_str(text)?;
    let plane = match spec.symmetry {
        Some(plane) => PlaneChoice::Given(Plane {
            origin: DVec3::from_array(plane.origin),
            normal: DVec3::from_array(plane.normal),
        }),
        None => PlaneChoice::None,
    };
    Ok((spec.guides.into_iter().map(guide).collect(), plane))
}

/// The text of a case's file. A plane that is to be found isn't told: reading gives none.
///
/// # Errors
/// What can't be written: numbers that are none.
pub fn text(case: &Case) -> Result<String, serde_json::Error> {
    let symmetry = match case.plane {
        PlaneChoice::Given(plane) => Some(PlaneSpec {
            origin: plane.origin.to_array(),
            normal: plane.normal.to_array(),
        }),
        PlaneChoice::None | PlaneChoice::Find => None,
    };
    serde_json::to_string(&GuideFile {
        symmetry,
        guides: case.guides.iter().map(spec).collect(),
    })
}

fn guide(spec: GuideSpec) -> Guide {
    Guide {
        name: spec.name,
        kind: match spec.kind {
            KindSpec::Ring => GuideKind::Ring,
            KindSpec::Line => GuideKind::Line,
            KindSpec::Opening => GuideKind::Opening,
        },
        closed: spec.closed,
        count: spec.count,
        points: spec.points.into_iter().map(DVec3::from_array).collect(),
    }
}

fn spec(guide: &Guide) -> GuideSpec {
    GuideSpec {
        name: guide.name.clone(),
        kind: match guide.kind {
            GuideKind::Ring => KindSpec::Ring,
            // Nothing is held in the corpus; its rim would be a line.
            GuideKind::Line | GuideKind::Hold => KindSpec::Line,
            GuideKind::Opening => KindSpec::Opening,
        },
        closed: guide.closed,
        count: guide.count,
        points: guide.points.iter().map(|p| p.to_array()).collect(),
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::make;

    #[test]
    fn what_is_written_is_read_again() {
        let given = |case: &Case| matches!(case.plane, PlaneChoice::Given(_));
        let mut case = make::made(1).unwrap();
        assert!(!case.guides.is_empty() && !given(&case));
        let (guides, plane) = read(&text(&case).unwrap()).unwrap();
        assert_eq!(plane, PlaneChoice::None);
        // Numbers are read to within a bit of the last place.
        assert_eq!(guides.len(), case.guides.len());
        for (read, was) in guides.iter().zip(&case.guides) {
            let near = |(a, b): (&DVec3, &DVec3)| a.distance(*b) <= 1e-14 * b.length();
            assert_eq!(read.points.len(), was.points.len());
            assert!(read.points.iter().zip(&was.points).all(near));
            let points = read.points.clone();
            assert_eq!(
                *read,
                Guide {
                    points,
                    ..was.clone()
                }
            );
        }
        case.plane = PlaneChoice::Given(Plane {
            origin: DVec3::ZERO,
            normal: DVec3::X,
        });
        assert_eq!(read(&text(&case).unwrap()).unwrap().1, case.plane);
    }
}
