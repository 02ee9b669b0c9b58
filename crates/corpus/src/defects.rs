//! What goes wrong with sculpts on their way through other programs.

use mesh::{DVec3, TriMesh, Vec3};

use crate::random::Random;

/// A kind of damage.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Defect {
    /// Some triangles wind the wrong way round.
    Flipped,
    /// Some triangles have vertices of their own, at the same places.
    Doubled,
    /// No triangle shares a vertex with another.
    Soup,
    /// Single triangles and fans are missing.
    Pinholes,
    /// Triangles next to nothing wide, and some without area.
    Slivers,
    /// Small pieces float around, and vertices without a triangle.
    Bits,
    /// Fins stand on edges; two vertices far apart are one.
    NonManifold,
    /// Triangles are there twice, some the other way round.
    Overlaps,
    /// A run of edges is torn open without a gap.
    Slit,
    /// Single vertices stick far out.
    Spikes,
}

impl Defect {
    /// All kinds.
    pub const ALL: [Self; 10] = [
        Self::Flipped,
        Self::Doubled,
        Self::Soup,
        Self::Pinholes,
        Self::Slivers,
        Self::Bits,
        Self::NonManifold,
        Self::Overlaps,
        Self::Slit,
        Self::Spikes,
    ];

    /// Its name in tables.
    pub fn name(self) -> &'static str {
        match self {
            Self::Flipped => "flipped",
            Self::Doubled => "doubled",
            Self::Soup => "soup",
            Self::Pinholes => "pinholes",
            Self::Slivers => "slivers",
            Self::Bits => "bits",
            Self::NonManifold => "non-manifold",
            Self::Overlaps => "overlaps",
            Self::Slit => "slit",
            Self::Spikes => "spikes",
        }
    }

    /// Damages a mesh.
    pub fn apply(self, mesh: &mut TriMesh, random: &mut Random) {
        match self {
            Self::Flipped => share(mesh, random, 30, |mesh, t| mesh.triangles[t].swap(0, 1)),
            Self::Doubled => share(mesh, random, 5, part),
            Self::Soup => (0..mesh.triangles.len()).for_each(|t| part(mesh, t)),
            Self::Pinholes => pinholes(mesh, random),
            Self::Slivers => slivers(mesh, random),
            Self::Bits => bits(mesh, random),
            Self::NonManifold => non_manifold(mesh, random),
            Self::Overlaps => share(mesh, random, 40, |mesh, t| {
                let mut twin = mesh.triangles[t];
                if t % 2 == 0 {
                    twin.swap(1, 2);
                }
                mesh.triangles.push(twin);
            }),
            Self::Slit => slit(mesh, random),
            Self::Spikes => spikes(mesh, random),
        }
    }
}

/// One triangle in `one_in`, at random.
fn share(
    mesh: &mut TriMesh,
    random: &mut Random,
    one_in: usize,
    mut damage: impl FnMut(&mut TriMesh, usize),
) {
    for t in 0..mesh.triangles.len() {
        if random.below(one_in) == 0 {
            damage(mesh, t);
        }
    }
}

/// Gives a triangle vertices of its own.
fn part(mesh: &mut TriMesh, t: usize) {
    for corner in 0..3 {
        let old = mesh.triangles[t][corner];
        mesh.triangles[t][corner] = mesh.positions.len() as u32;
        mesh.positions.push(mesh.positions[old as usize]);
    }
}

fn pinholes(mesh: &mut TriMesh, random: &mut Random) {
    let mut gone = vec![false; mesh.triangles.len()];
    for k in 0..8 {
        let t = random.below(gone.len());
        gone[t] = true;
        if k % 2 == 0 {
            // The whole fan of one corner.
            let hub = mesh.triangles[t][0];
            for (u, other) in mesh.triangles.iter().enumerate() {
                gone[u] |= other.contains(&hub);
            }
        }
    }
    let mut at = 0;
    mesh.triangles.retain(|_| {
        at += 1;
        !gone[at - 1]
    });
}

/// Cuts sides very near one of their ends, in both triangles, and adds triangles in line.
fn slivers(mesh: &mut TriMesh, random: &mut Random) {
    for _ in 0..mesh.triangles.len() / 200 + 5 {
        let t = random.below(mesh.triangles.len());
        let [a, b, c] = mesh.triangles[t];
        let (pa, pb) = (mesh.positions[a as usize], mesh.positions[b as usize]);
        let near = [1e-3, 1e-5, 0.0][random.below(3)];
        let middle = mesh.positions.len() as u32;
        mesh.positions.push(pa + near * (pb - pa));
        mesh.triangles[t] = [middle, b, c];
        mesh.triangles.push([a, middle, c]);
        let other = mesh
            .triangles
            .iter()
            .position(|u| (0..3).any(|i| (u[i], u[(i + 1) % 3]) == (b, a)));
        if let Some(u) = other {
            let Some(&d) = mesh.triangles[u].iter().find(|v| **v != a && **v != b) else {
                continue;
            };
            mesh.triangles[u] = [b, middle, d];
            mesh.triangles.push([middle, a, d]);
        }
    }
}

fn bits(mesh: &mut TriMesh, random: &mut Random) {
    let diagonal = mesh.diagonal();
    for k in 0..12 {
        let v = random.below(mesh.positions.len());
        let off = random.direction() * diagonal * random.within(0.0, 0.1);
        let at = mesh.positions[v].as_dvec3() + off;
        let size = diagonal * random.within(0.002, 0.02);
        let first = mesh.positions.len() as u32;
        for _ in 0..4 {
            mesh.positions
                .push((at + size * random.direction()).as_vec3());
        }
        // Every third is a vertex cloud without triangles.
        if k % 3 != 0 {
            let faces = [[0, 1, 2], [0, 2, 3], [0, 3, 1], [1, 3, 2]];
            mesh.triangles
                .extend(faces.map(|f: [u32; 3]| f.map(|v| first + v)));
        }
    }
}

fn non_manifold(mesh: &mut TriMesh, random: &mut Random) {
    let edge = (mesh.area() / mesh.triangles.len().max(1) as f64).sqrt();
    for _ in 0..10 {
        let t = random.below(mesh.triangles.len());
        let [a, b, _] = mesh.triangles[t];
        let normal = mesh.area_normal(t).normalize_or_zero();
        let (pa, pb) = (mesh.positions[a as usize], mesh.positions[b as usize]);
        let tip = 0.5 * (pa + pb).as_dvec3() + 2.0 * edge * normal;
        mesh.triangles.push([a, b, mesh.positions.len() as u32]);
        mesh.positions.push(tip.as_vec3());
    }
    let (one, two) = (
        random.below(mesh.positions.len()) as u32,
        random.below(mesh.positions.len()) as u32,
    );
    // Not where that would make a long triangle of each at the vertex: only its name moves.
    let place = mesh.positions[one as usize];
    let near = (mesh.positions[two as usize] - place).length() < 3.0 * edge as f32;
    if !near && random.below(2) == 0 {
        mesh.positions[two as usize] = place;
        for corners in &mut mesh.triangles {
            *corners = corners.map(|v| if v == two { one } else { v });
        }
    }
}

/// Parts the triangles along a walk of edges, without moving anything.
fn slit(mesh: &mut TriMesh, random: &mut Random) {
    let Some(&[mut at, ..]) = mesh.triangles.get(random.below(mesh.triangles.len())) else {
        return;
    };
    let way = random.direction().as_vec3();
    for _ in 0..12 {
        let here = mesh.positions[at as usize];
        let next = mesh
            .triangles
            .iter()
            .filter(|t| t.contains(&at))
            .flatten()
            .copied()
            .filter(|v| *v != at)
            .max_by(|a, b| {
                let along = |v: &u32| (mesh.positions[*v as usize] - here).dot(way);
                along(a).total_cmp(&along(b)).then(a.cmp(b))
            });
        let Some(next) = next else { return };
        // What lies on one side of the walk gets a vertex of its own.
        let copy = mesh.positions.len() as u32;
        let step = mesh.positions[next as usize] - here;
        let mut used = false;
        for t in 0..mesh.triangles.len() {
            if mesh.triangles[t].contains(&at) {
                let [a, b, c] = mesh.corners(t);
                let centre = ((a + b + c) / 3.0).as_vec3();
                let normal = mesh.area_normal(t).as_vec3();
                if normal.cross(step).dot(centre - here) > 0.0 {
                    mesh.triangles[t] = mesh.triangles[t].map(|v| if v == at { copy } else { v });
                    used = true;
                }
            }
        }
        if used {
            mesh.positions.push(here);
        }
        at = next;
    }
}

fn spikes(mesh: &mut TriMesh, random: &mut Random) {
    let edge = (mesh.area() / mesh.triangles.len().max(1) as f64).sqrt();
    for _ in 0..6 {
        let v = random.below(mesh.positions.len());
        mesh.positions[v] += (random.within(2.0, 12.0) * edge * random.direction()).as_vec3();
    }
}

/// Moves every vertex by up to `share` of a triangle's edge: a scan's noise.
pub fn shake(mesh: &mut TriMesh, share: f64, random: &mut Random) {
    let edge = (mesh.area() / mesh.triangles.len().max(1) as f64).sqrt();
    for p in &mut mesh.positions {
        let off: DVec3 = random.within(0.0, share) * edge * random.direction();
        let off: Vec3 = off.as_vec3();
        *p += off;
    }
}
