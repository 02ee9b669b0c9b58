//! What is asked for, on an upright tube of regular triangles.

use base::Task;
use mesh::DVec3;

use super::*;
use crate::model::{Area, Chain, CurveEnd, ExtraLoops, Guide, KeepOut, Pin};
use crate::symmetry::fixtures::{on_tube, ring, tube};

/// Rows of triangles and triangles around the tube of radius 1 and height 4.
const ROWS: u32 = 80;
const AROUND: u32 = 60;
const QUAD: f64 = 0.2;

/// The tube with a ring at half height, its curve, and the ring itself.
fn ringed() -> (WorkSurface, Vec<Curve>, Sculpt, Guide) {
    let sculpt = tube(AROUND, ROWS);
    let guide = ring("elbow", GuideKind::Ring, AROUND, |_| 2.0);
    let curve = Curve {
        side: None,
        partly_held: false,
        guides: vec![0],
        kind: GuideKind::Ring,
        closed: true,
        ends: [CurveEnd::Free; 2],
        count: None,
        shares: Default::default(),
        points: guide.points.clone(),
        aims: Vec::new(),
    };
    let row = ROWS / 2;
    let surface = WorkSurface {
        positions: sculpt.mesh.positions.iter().map(|p| p.as_dvec3()).collect(),
        triangles: sculpt.mesh.triangles.clone(),
        chains: vec![Chain {
            source: ChainSource::Curve(0),
            closed: true,
            vertices: (0..AROUND).map(|i| row * AROUND + i).collect(),
        }],
        edge: 0.05,
    };
    (surface, vec![curve], sculpt, guide)
}

fn aims_of(intent: &Intent, plane: Option<Plane>) -> Result<(WorkSurface, Aims), IntentError> {
    let (surface, curves, sculpt, _) = ringed();
    let aims = run(
        intent,
        &surface,
        &curves,
        &sculpt,
        plane,
        QUAD,
        &Task::default(),
    )?;
    Ok((surface, aims))
}

#[test]
fn loops_are_as_many_more_rows_as_were_asked() {
    for loops in 1..=4 {
        let intent = Intent {
            loops: vec![ExtraLoops { guide: 0, loops }],
            ..Intent::default()
        };
        let (surface, aims) = aims_of(&intent, None).unwrap();
        // Along a column of vertices: the integral of what is asked beyond 1, in quads.
        let mut extra = 0.0;
        for j in 0..ROWS {
            let [a, b] = [j, j + 1].map(|j| (j * AROUND + 7) as usize);
            let [low, high] = [a, b].map(|v| surface.positions[v]);
            let way = high - low;
            let more = |v: usize| aims.across[v].dot(way.normalize()).powi(2);
            extra += way.length() * (more(a) + more(b)) / 2.0 / QUAD;
        }
        assert!((extra - f64::from(loops)).abs() < 0.25, "{loops}: {extra}");
        // Around the tube nothing is asked.
        let ring_vertex = (ROWS / 2 * AROUND) as usize;
        let along = surface.positions[ring_vertex + 1] - surface.positions[ring_vertex];
        assert!(aims.across[ring_vertex].dot(along.normalize()).abs() < 0.1);
    }
}

#[test]
fn an_areas_density_fades_by_a_fifth_a_quad() {
    let intent = Intent {
        areas: vec![Area {
            name: "pocket".into(),
            region: Region::Around {
                at: on_tube(1.0, 0.25, 3.0),
                reach: 0.3,
            },
            size: AreaSize::Density(2.0),
        }],
        ..Intent::default()
    };
    let (surface, aims) = aims_of(&intent, None).unwrap();
    let middle = on_tube(1.0, 0.25, 3.0);
    for (v, p) in surface.positions.iter().enumerate() {
        let way = p.distance(middle);
        if way <= 0.29 {
            assert_eq!(aims.density[v], 2.0);
        }
        // Sizes 1/2 to 1 with a fifth a quad: faded after two and a half quads.
        if way >= 0.3 + 2.5 * QUAD + 0.05 {
            assert_eq!(aims.density[v], 1.0, "{p}");
        }
        for &w in &surface.triangles[v.min(surface.triangles.len() - 1)] {
            assert!((1.0..=2.0).contains(&aims.density[w as usize]));
        }
    }
    for t in &surface.triangles {
        let [a, b] = [t[0], t[1]].map(|v| v as usize);
        let steep = (1.0 / aims.density[a] - 1.0 / aims.density[b]).abs();
        let quads = surface.positions[a].distance(surface.positions[b]) / QUAD;
        assert!(steep <= GRADE * quads + 1e-9);
    }
}

#[test]
fn rings_and_keep_outs_bar_poles() {
    let intent = Intent {
        keep_outs: vec![KeepOut {
            name: "bend".into(),
            place: KeepOutPlace::Guide {
                guide: 0,
                reach: 3.0,
            },
        }],
        ..Intent::default()
    };
    let (surface, aims) = aims_of(&intent, None).unwrap();
    for (v, p) in surface.positions.iter().enumerate() {
        let quads = (p.y - 2.0).abs() / QUAD;
        // Rows lie on the limits themselves, but for rounding.
        for (bars, limit) in [(&aims.berth, 1.5), (&aims.barred, 3.5)] {
            if (quads - limit).abs() > 0.01 {
                assert_eq!(bars[v], quads < limit, "{p}");
            }
        }
    }
    let chain = ChainBerth {
        chain: 0,
        quads: 4,
        outright: true,
    };
    assert!(aims.chains.contains(&chain));
}

#[test]
fn what_lies_off_the_sculpt_or_on_the_plane_is_refused() {
    let pin = |at| Intent {
        pins: vec![Pin {
            name: "shoulder".into(),
            at,
            valence: 5,
        }],
        ..Intent::default()
    };
    let plane = Plane {
        origin: DVec3::ZERO,
        normal: DVec3::X,
    };
    let far = aims_of(&pin(DVec3::new(3.0, 2.0, 0.0)), None).unwrap_err();
    assert!(
        matches!(far, IntentError::OffSculpt { what: "pin", .. }),
        "{far}"
    );
    let on_plane = aims_of(&pin(DVec3::new(0.05, 2.0, 1.0)), Some(plane)).unwrap_err();
    assert!(
        matches!(on_plane, IntentError::OnPlane { .. }),
        "{on_plane}"
    );
    let (_, aims) = aims_of(&pin(on_tube(1.0, 0.5, 2.0)), Some(plane)).unwrap();
    // Behind the plane: the image before it.
    assert!(aims.pins[0].at.x > 0.9);
    assert_eq!(aims.pins[0].quarters, -1);
}
