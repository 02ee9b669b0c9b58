//! A ball of radius 10 cm and rings round it.

use base::Task;
use engine::assemble::Sides;
use engine::intake::{self, IntakeOptions, RawTriangles};
use engine::model::{Guide, GuideKind, Sculpt};
use engine::symmetry::PlaneChoice;
use loopwright_session::{Settings, Size};
use mesh::DVec3;

/// The ball, taken in.
pub fn sculpt() -> Sculpt {
    let mesh = demo::sphere(12_000);
    let raw = RawTriangles {
        positions: mesh.positions,
        triangles: mesh.triangles,
        parts: vec![],
    };
    let taken = intake::run(&raw, &IntakeOptions::default(), &Task::default());
    taken.unwrap().0
}

/// A ring around the ball at a height, cm.
pub fn ring(name: &str, height: f64, count: Option<u32>) -> Guide {
    let radius = (100.0 - height * height).sqrt();
    let point = |i: u32| {
        let turn = std::f64::consts::TAU * f64::from(i) / 48.0;
        DVec3::new(radius * turn.cos(), height, radius * turn.sin())
    };
    Guide {
        name: name.to_owned(),
        kind: GuideKind::Ring,
        closed: true,
        count,
        points: (0..48).map(point).collect(),
    }
}

/// A job of 300 even faces without a plane.
pub fn settings(guides: Vec<Guide>) -> Settings {
    Settings {
        guides,
        plane: PlaneChoice::None,
        sides: Sides::Mirror,
        size: Size::Faces(300),
        adapt: 0.0,
        edits: vec![],
        intent: Default::default(),
        holds: Vec::new(),
    }
}
