//! Whole-sculpt checks on small coats.

use std::sync::LazyLock;

use base::Task;
use mesh::{DVec3, TriMesh, TriTopology};

use crate::{DemoOptions, DemoSculpt, coat};

fn small(seed: u64) -> DemoSculpt {
    coat(
        &DemoOptions {
            triangles: 20_000,
            seed,
        },
        &Task::default(),
    )
    .unwrap()
}

static SEED_0: LazyLock<DemoSculpt> = LazyLock::new(|| small(0));

fn boundary_loops(topology: &TriTopology) -> Vec<Vec<u32>> {
    let mut next = vec![None; topology.vertex_count()];
    for edge in 0..topology.edge_count() as u32 {
        if topology.is_boundary_edge(edge) {
            let half = topology.half_of_edge(edge);
            next[topology.from(half) as usize] = Some(topology.to(half));
        }
    }
    let mut loops = Vec::new();
    for start in 0..next.len() as u32 {
        let mut one = Vec::new();
        let mut at = start;
        while let Some(following) = next[at as usize].take() {
            one.push(at);
            at = following;
        }
        if !one.is_empty() {
            loops.push(one);
        }
    }
    loops
}

fn pieces(mesh: &TriMesh) -> usize {
    let mut root: Vec<u32> = (0..mesh.positions.len() as u32).collect();
    fn find(root: &mut [u32], mut v: u32) -> u32 {
        while root[v as usize] != v {
            root[v as usize] = root[root[v as usize] as usize];
            v = root[v as usize];
        }
        v
    }
    for t in &mesh.triangles {
        for v in &t[1..] {
            let (a, b) = (find(&mut root, t[0]), find(&mut root, *v));
            root[a.max(b) as usize] = a.min(b);
        }
    }
    (0..root.len()).filter(|v| root[*v] == *v as u32).count()
}

/// Volume inside the mesh with each boundary loop closed by a fan to its centre.
fn capped_volume(mesh: &TriMesh, loops: &[Vec<u32>]) -> f64 {
    let tetrahedron = |a: DVec3, b: DVec3, c: DVec3| a.dot(b.cross(c)) / 6.0;
    let walls: f64 = (0..mesh.triangles.len())
        .map(|t| {
            let [a, b, c] = mesh.corners(t);
            tetrahedron(a, b, c)
        })
        .sum();
    let at = |v: u32| mesh.positions[v as usize].as_dvec3();
    let caps: f64 = loops
        .iter()
        .map(|l| {
            let centre = l.iter().map(|v| at(*v)).sum::<DVec3>() / l.len() as f64;
            (0..l.len())
                .map(|i| tetrahedron(at(l[(i + 1) % l.len()]), at(l[i]), centre))
                .sum::<f64>()
        })
        .sum();
    walls + caps
}

/// Distance from a point to a mesh, by brute force (Ericson, "Real-time collision detection", 5.1.5).
fn distance(mesh: &TriMesh, p: DVec3) -> f64 {
    (0..mesh.triangles.len())
        .filter(|t| mesh.corners(*t)[0].distance_squared(p) < 9.0)
        .map(|t| {
            crate::carry::closest_on_triangle(p, mesh.corners(t))
                .0
                .distance(p)
        })
        .fold(f64::MAX, f64::min)
}

#[test]
fn the_coat_is_one_open_wall_with_four_openings() {
    for sculpt in [&*SEED_0, &small(5)] {
        let mesh = &sculpt.mesh;
        let topology = TriTopology::new(mesh.positions.len(), &mesh.triangles).unwrap();
        assert_eq!(topology.euler_characteristic(), -2);
        assert_eq!(pieces(mesh), 1);
        let loops = boundary_loops(&topology);
        assert_eq!(loops.len(), 4);
        let volume = capped_volume(mesh, &loops);
        assert!((80_000.0..250_000.0).contains(&volume), "{volume} cm³");
        let share = mesh.triangles.len() as f64 / 20_000.0;
        assert!((0.9..1.1).contains(&share), "{share}");
    }
}

#[test]
fn every_guide_is_there_once_and_lies_on_the_sculpt() {
    let sculpt = &*SEED_0;
    let names: Vec<&str> = sculpt.guides.iter().map(|g| g.name.as_str()).collect();
    let mut expected = vec!["neck", "left wrist", "right wrist", "hem"];
    expected.extend(["left cuff", "left elbow", "left upper arm", "left armhole"]);
    expected.extend([
        "right cuff",
        "right elbow",
        "right upper arm",
        "right armhole",
    ]);
    expected.extend(["waist", "front centre", "back centre"]);
    assert_eq!(names, expected);
    for guide in &sculpt.guides {
        assert!((40..=100).contains(&guide.points.len()));
        assert_eq!(guide.closed, guide.kind != "line");
        for p in &guide.points {
            let off = distance(&sculpt.mesh, *p);
            assert!(off < 0.05, "{} is {off} cm off", guide.name);
        }
    }
}

#[test]
fn the_same_bytes_for_one_thread_and_two() {
    let with = |threads| {
        let pool = rayon::ThreadPoolBuilder::new()
            .num_threads(threads)
            .build()
            .unwrap();
        pool.install(|| small(3))
    };
    let (one, two) = (with(1), with(2));
    assert_eq!(one.mesh, two.mesh);
    assert_eq!(one.guides, two.guides);
    assert_eq!(one.under, two.under);
}

/// Pairs of triangles without a common vertex of which an edge of one passes through the other
/// (segment against triangle: Möller & Trumbore 1997).
fn crossings(mesh: &TriMesh) -> usize {
    let longest = (0..mesh.triangles.len())
        .flat_map(|t| {
            let [a, b, c] = mesh.corners(t);
            [a.distance(b), b.distance(c), c.distance(a)]
        })
        .fold(0.0, f64::max);
    let wall = crate::wall::Wall {
        positions: mesh.positions.iter().map(|p| p.as_dvec3()).collect(),
        triangles: mesh.triangles.clone(),
        rail: vec![crate::wall::FREE; mesh.positions.len()],
    };
    let grid = crate::carry::TriangleGrid::new(&wall, longest);
    let mut count = 0;
    for (t, corners) in mesh.triangles.iter().enumerate() {
        let [a, b, c] = mesh.corners(t);
        for &u in grid.near((a + b + c) / 3.0) {
            let other = mesh.triangles[u as usize];
            if other.iter().any(|v| corners.contains(v)) {
                continue;
            }
            let target = mesh.corners(u as usize);
            count += [(a, b), (b, c), (c, a)]
                .iter()
                .filter(|(p, q)| pierces(*p, *q, target))
                .count();
        }
    }
    count
}

fn pierces(p: DVec3, q: DVec3, [a, b, c]: [DVec3; 3]) -> bool {
    let (along, ab, ac) = (q - p, b - a, c - a);
    let h = along.cross(ac);
    let det = ab.dot(h);
    if det.abs() < 1e-12 {
        return false;
    }
    let from = p - a;
    let u = from.dot(h) / det;
    let k = from.cross(ab);
    let v = along.dot(k) / det;
    let t = ac.dot(k) / det;
    u >= 0.0 && v >= 0.0 && u + v <= 1.0 && (0.0..=1.0).contains(&t)
}

#[test]
fn the_wall_does_not_pass_through_itself() {
    assert_eq!(crossings(&SEED_0.mesh), 0);
}

#[test]
fn crossing_triangles_are_seen() {
    let flat = [DVec3::ZERO, DVec3::X, DVec3::Y];
    assert!(pierces(
        DVec3::new(0.2, 0.2, -1.0),
        DVec3::new(0.2, 0.2, 1.0),
        flat
    ));
    assert!(!pierces(
        DVec3::new(0.8, 0.8, -1.0),
        DVec3::new(0.8, 0.8, 1.0),
        flat
    ));
}

#[test]
fn a_cancelled_task_gives_no_coat() {
    let task = Task::default();
    task.cancel();
    assert!(coat(&DemoOptions::default(), &task).is_err());
}

#[test]
fn what_is_worn_beneath_is_closed_and_without_handles() {
    for (name, mesh) in &SEED_0.under {
        let topology = TriTopology::new(mesh.positions.len(), &mesh.triangles).unwrap();
        assert_eq!(topology.euler_characteristic(), 2, "{name}");
        assert_eq!(pieces(mesh), 1, "{name}");
        assert!(
            (10_000..60_000).contains(&mesh.triangles.len()),
            "{name}: {}",
            mesh.triangles.len()
        );
        assert!(capped_volume(mesh, &[]) > 0.0, "{name}");
    }
}

/// No point of what is worn beneath may lie before the cloth that it is next to.
#[test]
fn the_coat_covers_what_is_worn_beneath() {
    let coat = &SEED_0.mesh;
    let normals = coat.vertex_normals();
    for (name, mesh) in &SEED_0.under {
        // Above the collar the head is free.
        let below = |p: &&mesh::Vec3| p.y < 152.0;
        let mut near = 0;
        for p in mesh.positions.iter().filter(below).step_by(17) {
            let squared = |v: usize| coat.positions[v].distance_squared(*p);
            let nearest = (0..normals.len())
                .min_by(|a, b| squared(*a).total_cmp(&squared(*b)))
                .unwrap();
            if squared(nearest) < 16.0 {
                near += 1;
                let height = (*p - coat.positions[nearest]).dot(normals[nearest]);
                assert!(height < -0.2, "{name} {p} is {height} cm over the cloth");
            }
        }
        assert!(near > 50, "{name}: {near}");
    }
}
