//! Sculpts, guides and measures that the tests share.

use std::collections::BTreeMap;
use std::f64::consts::TAU;

use base::{Findings, Level, Task};
use engine::assemble::Sides;
use engine::check::{self, CheckInput, Measures};
use engine::intake::{self, IntakeOptions, RawTriangles};
use engine::model::{Guide, GuideKind, Plane, Sculpt};
use engine::symmetry::PlaneChoice;
use loopwright_session::{Outcome, Session, SessionError, Settings, Size};
use mesh::{DVec3, QuadMesh, TriMesh};

/// Takes a mesh in as a file's triangles are.
pub fn sculpt_of(mesh: TriMesh) -> Sculpt {
    let raw = RawTriangles {
        positions: mesh.positions,
        triangles: mesh.triangles,
        parts: vec![],
    };
    intake::run(&raw, &IntakeOptions::default(), &Task::default())
        .unwrap()
        .0
}

pub fn settings(guides: Vec<Guide>, faces: usize) -> Settings {
    Settings {
        guides,
        plane: PlaneChoice::None,
        sides: Sides::Mirror,
        size: Size::Faces(faces),
        adapt: 0.0,
        edits: vec![],
        intent: Default::default(),
        holds: Vec::new(),
    }
}

pub fn plane_through_origin(normal: DVec3) -> PlaneChoice {
    PlaneChoice::Given(Plane {
        origin: DVec3::ZERO,
        normal,
    })
}

/// Runs the settings on a sculpt.
pub fn run(sculpt: &Sculpt, settings: &Settings) -> Result<Outcome, SessionError> {
    Session::new(sculpt.clone()).run(settings, &Task::default())
}

/// Measures and findings of the check stage.
pub fn checked(sculpt: &Sculpt, settings: &Settings, outcome: &Outcome) -> (Measures, Findings) {
    let target_faces = match settings.size {
        Size::Faces(n) => Some(n as u32),
        Size::Edge(_) => None,
    };
    let input = CheckInput {
        surface: &outcome.surface,
        sculpt,
        guides: &settings.guides,
        intent: &settings.intent,
        plane: outcome.plane,
        target_faces,
        yardstick: false,
        holds: &settings.holds,
    };
    check::run(&input, &Task::default()).unwrap()
}

/// The findings that fail, as text.
pub fn failing(findings: &Findings) -> Vec<String> {
    let fails = findings.iter().filter(|f| f.level == Level::Fail);
    fails
        .map(|f| format!("{}: {} ({:?})", f.code, f.sentence, f.places))
        .collect()
}

/// Runs, checks, and holds that nothing fails.
pub fn sound(sculpt: &Sculpt, settings: &Settings) -> (Outcome, Measures) {
    let outcome = run(sculpt, settings).unwrap();
    let (measures, findings) = checked(sculpt, settings, &outcome);
    assert_eq!(failing(&findings), Vec::<String>::new());
    assert_eq!(failing(&outcome.findings), Vec::<String>::new());
    (outcome, measures)
}

/// Point of the demo's bent tube: length `s` along its middle, `turn` around from 0 to 1.
pub fn on_bent_tube(s: f64, turn: f64) -> DVec3 {
    let (straight, bend, radius) = (16.0, 14.0, 4.0);
    let angle = ((s - straight) / bend).clamp(0.0, TAU / 4.0);
    let (tangent, out) = (
        DVec3::new(angle.sin(), angle.cos(), 0.0),
        DVec3::new(-angle.cos(), angle.sin(), 0.0),
    );
    let middle = s.min(straight) * DVec3::Y
        + (s - straight - bend * angle).max(0.0) * tangent
        + bend * (DVec3::X + out);
    middle + radius * ((turn * TAU).cos() * out + (turn * TAU).sin() * DVec3::Z)
}

/// A closed guide through points given by turn.
pub fn loop_guide(
    name: &str,
    kind: GuideKind,
    count: Option<u32>,
    at: impl Fn(f64) -> DVec3,
) -> Guide {
    let points = (0..48).map(|i| at(f64::from(i) / 48.0)).collect();
    Guide {
        name: name.to_owned(),
        kind,
        closed: true,
        count,
        points,
    }
}

/// A ring across the bent tube.
pub fn tube_ring(name: &str, s: f64, count: Option<u32>) -> Guide {
    loop_guide(name, GuideKind::Ring, count, |turn| on_bent_tube(s, turn))
}

/// The surface's vertices nearest to a closed curve as one closed run of edges: the shortest
/// cycle through edges whose ends lie within `reach` of it.
pub fn cycle_near(mesh: &QuadMesh, curve: &Guide, reach: f64) -> Vec<u32> {
    let near = |v: u32| {
        let p = mesh.positions[v as usize];
        let n = curve.points.len();
        (0..n).any(|i| {
            let (a, b) = (curve.points[i], curve.points[(i + 1) % n]);
            let t = ((p - a).dot(b - a) / (b - a).length_squared()).clamp(0.0, 1.0);
            p.distance(a.lerp(b, t)) < reach
        })
    };
    let mut next: BTreeMap<u32, Vec<u32>> = BTreeMap::new();
    for [a, b] in mesh.topology().edges {
        if near(a) && near(b) {
            next.entry(a).or_default().push(b);
            next.entry(b).or_default().push(a);
        }
    }
    let Some((&first, _)) = next.iter().next() else {
        return Vec::new();
    };
    let mut cycle = vec![first];
    let (mut before, mut at) = (u32::MAX, first);
    loop {
        let around = &next[&at];
        assert_eq!(
            around.len(),
            2,
            "one run of edges along the guide at vertex {at}"
        );
        let following = if around[0] == before {
            around[1]
        } else {
            around[0]
        };
        (before, at) = (at, following);
        if at == first {
            assert_eq!(cycle.len(), next.len(), "one cycle along the guide");
            return cycle;
        }
        cycle.push(at);
    }
}

/// Area of a quad: the mean of both ways to cut it.
pub fn quad_area(mesh: &QuadMesh, quad: u32) -> f64 {
    let [a, b, c, d] = mesh.quads[quad as usize].map(|v| mesh.positions[v as usize]);
    let triangle = |a: DVec3, b: DVec3, c: DVec3| (b - a).cross(c - a).length() / 2.0;
    (triangle(a, b, c) + triangle(a, c, d) + triangle(a, b, d) + triangle(b, c, d)) / 2.0
}

pub fn area(mesh: &QuadMesh) -> f64 {
    (0..mesh.quads.len() as u32)
        .map(|q| quad_area(mesh, q))
        .sum()
}

/// Every number of an outcome but times, as bytes.
pub fn bytes(outcome: &Outcome) -> Vec<u8> {
    let mut all = Vec::new();
    for p in &outcome.surface.positions {
        p.to_array()
            .iter()
            .for_each(|c| all.extend(c.to_bits().to_le_bytes()));
    }
    for v in outcome
        .surface
        .quads
        .iter()
        .flatten()
        .chain(&outcome.patch_of_quad)
    {
        all.extend(v.to_le_bytes());
    }
    all.extend(
        format!(
            "{:?}{:?}{:?}",
            outcome.surface.groups, outcome.poles, outcome.findings
        )
        .bytes(),
    );
    all
}
