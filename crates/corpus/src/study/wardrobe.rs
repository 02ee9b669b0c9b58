//! The study's sculpts: the lighthouse keeper's wardrobe, and who wears it.

use base::Task;
use demo::solid::{Noise, Opening};
use demo::{DemoGuide, DemoOptions, DemoSculpt};
use engine::model::{Guide, GuideKind, Plane};
use engine::symmetry::PlaneChoice;
use mesh::{DVec3, TriMesh};

use crate::cases::Case;
use crate::make::{self, MakeError};
use crate::recipe::{LineSpec, Mirror, Recipe, RingSpec};
use crate::solid::{Bumps, Piece, Solid};

/// All sculpts of the study, each with about so many triangles. The head has as many as the coat's
/// own dummy.
///
/// # Errors
/// [`MakeError`]: a fault of the recipes.
pub fn wardrobe(triangles: usize) -> Result<Vec<Case>, MakeError> {
    let options = DemoOptions { triangles, seed: 0 };
    let coat = demo::coat(&options, &Task::default())?;
    let mut cases = vec![of_coat(&coat)];
    for recipe in [glove(), boot(), hat(), figure()] {
        let recipe = Recipe {
            triangles,
            ..recipe
        };
        cases.push(make::of_recipe(&recipe)?);
    }
    let head = coat
        .under
        .into_iter()
        .find(|(name, _)| name.contains("head"));
    cases.extend(head.map(|(_, mesh)| of_head(mesh)));
    Ok(cases)
}

const MIRROR: PlaneChoice = PlaneChoice::Given(Plane {
    origin: DVec3::ZERO,
    normal: DVec3::X,
});

fn of_coat(coat: &DemoSculpt) -> Case {
    let guide = |g: &DemoGuide| Guide {
        name: g.name.clone(),
        kind: match g.kind {
            "opening" => GuideKind::Opening,
            "ring" => GuideKind::Ring,
            _ => GuideKind::Line,
        },
        closed: g.closed,
        count: g.count,
        points: g.points.clone(),
    };
    Case {
        name: "oilskin coat".to_owned(),
        class: "study".to_owned(),
        defects: vec![],
        positions: coat.mesh.positions.clone(),
        triangles: coat.mesh.triangles.clone(),
        guides: coat.guides.iter().map(guide).collect(),
        plane: MIRROR,
        cuts: None,
    }
}

fn of_head(mesh: TriMesh) -> Case {
    // The dummy's head stands on the coat's shoulders: its middle is 166 cm up.
    let at = |x: f64, y: f64, z: f64| DVec3::new(x, 166.5 + y, 0.5 + z);
    let rings = [
        ring("neck", at(0.0, -14.0, -2.0), DVec3::Y, 12.0, Some(16)),
        ring("hat line", at(0.0, 4.0, -1.0), DVec3::Y, 30.0, Some(24)),
        ring(
            "face",
            at(0.0, -1.0, 2.0),
            DVec3::new(0.0, 0.35, 1.0).normalize(),
            30.0,
            None,
        ),
    ];
    let line = line("profile", at(0.0, 1.0, 9.0), DVec3::X, 4.0);
    let mut guides: Vec<Guide> = rings
        .iter()
        .filter_map(|spec| make::ring_guide(&mesh, spec))
        .collect();
    guides.extend(make::line_guide(&mesh, &line));
    Case {
        name: "keeper's head".to_owned(),
        class: "study".to_owned(),
        defects: vec![],
        positions: mesh.positions,
        triangles: mesh.triangles,
        guides,
        plane: MIRROR,
        cuts: Some(0),
    }
}

fn ring(name: &str, at: DVec3, normal: DVec3, reach: f64, count: Option<u32>) -> RingSpec {
    RingSpec {
        name: name.to_owned(),
        at,
        normal,
        reach,
        count,
        ends: false,
    }
}

fn line(name: &str, at: DVec3, normal: DVec3, reach: f64) -> LineSpec {
    LineSpec {
        name: name.to_owned(),
        at,
        normal,
        reach,
    }
}

fn cut(origin: DVec3, normal: DVec3, reach: f64) -> Opening {
    Opening {
        name: "cut",
        origin,
        normal,
        centre: origin + 0.4 * reach * normal,
        reach,
    }
}

fn limb(a: DVec3, ra: f64, b: DVec3, rb: f64) -> Piece {
    Piece::Limb { a, ra, b, rb }
}

fn recipe(name: &str, seed: u64, pieces: Vec<Piece>, blend: f64, bump: f64) -> Recipe {
    let solid = Solid {
        pieces,
        blend,
        bumps: Some(Bumps {
            noise: Noise::new(seed, 1),
            wavelength: 3.0,
            height: bump,
        }),
        ..Solid::default()
    };
    Recipe {
        name: name.to_owned(),
        ..Recipe::plain("study", seed, solid)
    }
}

/// Palm, four fingers and a thumb; open at the cuff. Palm to +z.
fn glove() -> Recipe {
    let palm = Piece::Ball {
        centre: DVec3::new(0.0, 1.0, 0.0),
        radii: DVec3::new(4.6, 5.6, 2.1),
    };
    let wrist = limb(
        DVec3::new(0.0, 0.0, 0.0),
        2.4,
        DVec3::new(0.0, -12.0, 0.0),
        3.2,
    );
    let mut pieces = vec![palm, wrist];
    let mut rings = vec![ring(
        "wrist",
        DVec3::new(0.0, -5.5, 0.0),
        DVec3::Y,
        7.0,
        Some(16),
    )];
    let fingers = [
        ("little finger", -3.6, 4.2, -0.22, 5.2, 0.95),
        ("ring finger", -1.3, 5.4, -0.07, 6.6, 1.05),
        ("middle finger", 1.2, 5.6, 0.06, 7.2, 1.1),
        ("index finger", 3.6, 4.9, 0.2, 6.4, 1.05),
    ];
    for (name, x, y, lean, length, radius) in fingers {
        let way = DVec3::new(lean, 1.0, 0.12).normalize();
        let root = DVec3::new(x, y, 0.0);
        let tip = root + length * way;
        pieces.push(limb(root, 1.1 * radius, tip, 0.9 * radius));
        let at = root.lerp(tip, 0.55);
        rings.push(ring(name, at, way, 2.2 * radius, Some(8)));
    }
    let way = DVec3::new(0.8, 0.55, 0.25).normalize();
    let root = DVec3::new(3.0, -1.0, 0.4);
    let tip = root + 6.8 * way;
    pieces.push(limb(root, 1.5, tip, 1.1));
    rings.push(ring("thumb", root.lerp(tip, 0.7), way, 2.6, Some(8)));
    let end = DVec3::new(0.0, -11.0, 0.0);
    Recipe {
        openings: vec![cut(end, DVec3::NEG_Y, 6.5)],
        holes: 1,
        rings,
        lines: vec![line("back seam", DVec3::new(0.0, 1.0, -2.1), DVec3::X, 3.0)],
        rim_count: Some(20),
        ..recipe("oilskin glove", 11, pieces, 0.55, 0.12)
    }
}

/// Leg, heel and foot; open at the top. Toe to +z.
fn boot() -> Recipe {
    let heel = DVec3::new(0.0, 4.0, -1.5);
    let ball_of_foot = DVec3::new(0.0, 3.2, 12.0);
    let ankle = DVec3::new(0.0, 9.0, -0.5);
    let top = DVec3::new(0.0, 36.0, 0.5);
    let pieces = vec![
        limb(ankle, 4.6, top, 6.4),
        limb(heel, 4.2, ball_of_foot, 3.9),
        limb(ankle, 4.6, heel, 4.2),
        Piece::Ball {
            centre: DVec3::new(0.0, 2.8, 13.5),
            radii: DVec3::new(4.6, 3.0, 6.0),
        },
    ];
    let instep = DVec3::new(0.0, 0.25, 1.0).normalize();
    Recipe {
        openings: vec![cut(DVec3::new(0.0, 34.0, 0.5), DVec3::Y, 11.0)],
        holes: 1,
        rings: vec![
            ring(
                "ankle",
                DVec3::new(0.0, 12.5, -0.3),
                DVec3::Y,
                9.0,
                Some(20),
            ),
            ring("shin", DVec3::new(0.0, 24.0, 0.2), DVec3::Y, 10.0, None),
            ring("instep", DVec3::new(0.0, 3.2, 9.0), instep, 9.0, Some(20)),
            ring("welt", DVec3::new(0.0, 1.6, 7.0), DVec3::Y, 30.0, None),
        ],
        lines: vec![line("front", DVec3::new(0.0, 20.0, 5.5), DVec3::X, 8.0)],
        rim_count: Some(24),
        ..recipe("sea boot", 12, pieces, 1.6, 0.25)
    }
}

/// Crown and sloping brim, longer behind; open below.
fn hat() -> Recipe {
    let pieces = vec![
        Piece::Ball {
            centre: DVec3::ZERO,
            radii: DVec3::new(9.0, 11.0, 10.5),
        },
        Piece::Ball {
            centre: DVec3::new(0.0, -3.0, -2.5),
            radii: DVec3::new(15.0, 4.0, 18.5),
        },
    ];
    let mut made = recipe("sou'wester", 13, pieces, 2.2, 0.2);
    made.solid.mirrored = true;
    Recipe {
        openings: vec![cut(DVec3::new(0.0, -3.4, 0.0), DVec3::NEG_Y, 60.0)],
        holes: 1,
        rings: vec![
            ring("band", DVec3::new(0.0, 2.6, 0.0), DVec3::Y, 40.0, Some(32)),
            ring("crown", DVec3::new(0.0, 7.0, 0.0), DVec3::Y, 40.0, None),
        ],
        lines: vec![line(
            "middle seam",
            DVec3::new(0.0, 10.0, 2.0),
            DVec3::X,
            6.0,
        )],
        rim_count: Some(48),
        mirror: Mirror::Given,
        ..made
    }
}

/// The keeper: trunk, head, arms and legs; closed.
fn figure() -> Recipe {
    let ankle = DVec3::new(2.9, -22.0, 0.0);
    let hip = DVec3::new(2.4, -7.0, 0.0);
    let shoulder = DVec3::new(3.6, 6.2, 0.0);
    let elbow = DVec3::new(8.8, 2.6, -0.3);
    let hand = DVec3::new(13.2, -0.8, 1.2);
    let along = (hand - shoulder).normalize();
    let pieces = vec![
        Piece::Ball {
            centre: DVec3::ZERO,
            radii: DVec3::new(5.0, 9.0, 3.4),
        },
        limb(
            DVec3::new(0.0, 7.0, 0.0),
            1.9,
            DVec3::new(0.0, 10.5, 0.3),
            1.7,
        ),
        Piece::Ball {
            centre: DVec3::new(0.0, 13.4, 0.5),
            radii: DVec3::new(2.6, 3.5, 3.0),
        },
        limb(shoulder, 1.9, elbow, 1.5),
        limb(elbow, 1.5, hand, 1.1),
        limb(hip, 2.7, ankle, 1.4),
        limb(ankle, 1.5, ankle + DVec3::new(0.4, -0.6, 3.6), 1.2),
    ];
    let mut made = recipe("the keeper", 14, pieces, 1.0, 0.12);
    made.solid.mirrored = true;
    let knee = hip.lerp(ankle, 0.5);
    let leg = (ankle - hip).normalize();
    Recipe {
        rings: vec![
            ring("waist", DVec3::new(0.0, -1.0, 0.0), DVec3::Y, 6.5, Some(24)),
            ring("neck", DVec3::new(0.0, 9.6, 0.2), DVec3::Y, 3.5, Some(16)),
            ring("elbow", elbow, along, 3.0, Some(8)),
            ring("knee", knee, leg, 4.0, Some(12)),
        ],
        lines: vec![line("front", DVec3::new(0.0, 2.0, 3.4), DVec3::X, 3.5)],
        mirror: Mirror::Given,
        ..made
    }
}
