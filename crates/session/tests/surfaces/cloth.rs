//! A coat of cloth with a thickness, sculpted as a closed shell.

use std::collections::BTreeMap;

use base::Task;
use engine::check::{self, CheckInput};
use engine::model::{Guide, GuideKind};
use engine::suggest::{self, Proposal, SuggestOptions};
use engine::walls;
use loopwright_session::{Session, Settings};
use mesh::{DVec3, TriMesh};

use crate::coat::coat;
use crate::support::{failing, plane_through_origin, sculpt_of, settings};

/// The cloth of an open mesh so thick: a second wall behind it, and a rim of one row further out at
/// each boundary.
fn thick(mesh: &TriMesh, by: f64) -> TriMesh {
    let normals = mesh.vertex_normals();
    let count = mesh.positions.len() as u32;
    let mut made = mesh.clone();
    for (p, n) in mesh.positions.iter().zip(&normals) {
        let at = p.as_dvec3() - by * n.as_dvec3();
        made.positions.push(at.as_vec3());
    }
    let behind = mesh
        .triangles
        .iter()
        .map(|t| [t[0] + count, t[2] + count, t[1] + count]);
    made.triangles.extend(behind);
    let mut open: BTreeMap<[u32; 2], bool> = BTreeMap::new();
    for t in &mesh.triangles {
        for k in 0..3 {
            let (a, b) = (t[k], t[(k + 1) % 3]);
            if open.remove(&[b, a]).is_none() {
                open.insert([a, b], true);
            }
        }
    }
    let at = |v: u32| mesh.positions[v as usize].as_dvec3();
    let mut out: BTreeMap<u32, DVec3> = BTreeMap::new();
    for &[a, b] in open.keys() {
        for v in [a, b] {
            let away = (at(b) - at(a)).cross(normals[v as usize].as_dvec3());
            *out.entry(v).or_default() += away;
        }
    }
    let mut middle = BTreeMap::new();
    for (&v, away) in &out {
        let inward = normals[v as usize].as_dvec3();
        let tip = at(v) - by / 2.0 * inward + by / 2.0 * away.normalize_or_zero();
        middle.insert(v, made.positions.len() as u32);
        made.positions.push(tip.as_vec3());
    }
    for &[a, b] in open.keys() {
        let [m, n] = [a, b].map(|v| middle[&v]);
        made.triangles.extend([[b, a, m], [b, m, n]]);
        made.triangles
            .extend([[n, m, a + count], [n, a + count, b + count]]);
    }
    made
}

#[test]
fn a_coat_of_cloth_with_a_thickness_needs_no_guides() {
    let (open, _) = coat();
    let edge = (2.0 * open.mesh.area() / 1_400.0).sqrt();
    let sculpt = sculpt_of(thick(&open.mesh, 0.15 * edge));
    let settings = Settings {
        plane: plane_through_origin(DVec3::X),
        ..settings(vec![], 1_400)
    };
    let task = Task::default();
    let outcome = Session::new(sculpt.clone()).run(&settings, &task).unwrap();
    let told = outcome.findings.iter().find(|f| f.code == "cloth-edge");
    let told = told.expect("nothing is told of the cloth's edges");
    // Runs of edges go along both walls' meeting at each opening, told by the check, which knows
    // nothing of such rings.
    let found = walls::edges_of_cloth(&sculpt, outcome.edge, &task).unwrap();
    assert!(found.len() >= 4, "{}", found.len());
    assert_eq!(told.places.len(), found.len());
    // Proposed to the artist too: hem, collar, and of each pair the one before the plane.
    let options = SuggestOptions {
        edge: outcome.edge,
        plane: outcome.plane,
    };
    let proposals = suggest::run(&sculpt, &[], &options, &task).unwrap();
    let edges = proposals
        .iter()
        .filter(|p| p.guide.name.starts_with("edge of the cloth"));
    assert!(edges.clone().count() >= 3, "{proposals:?}");
    assert!(
        edges
            .clone()
            .all(|p| p.guide.closed && p.guide.count.is_some())
    );
    let rings = found.into_iter().enumerate().map(|(i, points)| Guide {
        name: format!("rim {i}"),
        kind: GuideKind::Ring,
        closed: true,
        count: None,
        points,
    });
    let rings: Vec<Guide> = rings.collect();
    let input = CheckInput {
        surface: &outcome.surface,
        sculpt: &sculpt,
        guides: &rings,
        intent: &settings.intent,
        plane: outcome.plane,
        target_faces: Some(1_400),
        yardstick: false,
        holds: &[],
    };
    let (measures, findings) = check::run(&input, &task).unwrap();
    for guide in &measures.guides {
        assert!(guide.cycle_length.is_some(), "{}", guide.name);
    }
    let fails = failing(&findings);
    assert!(fails.is_empty(), "{fails:#?}");
    // A ring that is drawn at one cuff stands for the other cuff too.
    let cuff = edges.max_by(|a, b| {
        let out = |p: &Proposal| mesh::runs::centroid(&p.guide.points, true).x;
        out(a).total_cmp(&out(b))
    });
    let settings = Settings {
        guides: vec![cuff.unwrap().guide.clone()],
        ..settings
    };
    let again = Session::new(sculpt).run(&settings, &task).unwrap();
    let told = again.findings.iter().find(|f| f.code == "cloth-edge");
    assert_eq!(told.unwrap().places.len(), rings.len() - 2);
}
