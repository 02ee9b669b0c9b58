//! What of a mesh moves by itself, and what moves along: images of a mirrored mesh's kept half, and
//! what is tied to another vertex.

use engine::model::Plane;
use mesh::{DVec3, QuadMesh};

/// How each vertex of a whole mesh follows from what moves.
pub(super) struct Halves {
    plane: Option<Plane>,
    /// Of each vertex the one that it is put from: itself, or, of an image, its original.
    source: Vec<u32>,
    /// Unknown of each vertex.
    pub unknown: Vec<u32>,
    /// Whether a vertex is the image of its unknown's.
    pub image: Vec<bool>,
    /// Whether a vertex lies on the plane.
    flat: Vec<bool>,
    /// Whether an unknown's vertex lies on the plane and has to stay there.
    pub on_plane: Vec<bool>,
    /// Vertices that an unknown moves.
    pub weight: Vec<f64>,
    /// Whether a vertex only follows another one.
    pub follows: Vec<bool>,
    /// Whether a follower has no image though others have, as a lap's: it stands for itself.
    alone: Vec<bool>,
}

impl Halves {
    /// Pairs vertices with their images, which are exact; without a plane, or where a vertex has
    /// none, each stands for itself. The first of each two `tied` vertices follows the second.
    pub fn of(mesh: &QuadMesh, plane: Option<Plane>, tied: &[[u32; 2]]) -> Self {
        let mut halves = plane
            .and_then(|plane| Self::paired(mesh, plane, tied))
            .unwrap_or_else(|| Self::single(mesh.positions.len()));
        for &[follower, leader] in tied {
            let [f, l] = [follower as usize, leader as usize];
            if f < halves.unknown.len() && l < halves.unknown.len() {
                halves.unknown[f] = halves.unknown[l];
                halves.follows[f] = true;
                if halves.alone[f] {
                    halves.image[f] = halves.image[l];
                }
            }
        }
        halves.pack();
        halves
    }

    /// Numbers the unknowns that are left, and counts what each moves.
    fn pack(&mut self) {
        const NONE: u32 = u32::MAX;
        let mut number = vec![NONE; self.on_plane.len()];
        let mut on_plane = Vec::new();
        self.weight.clear();
        for unknown in &mut self.unknown {
            let old = *unknown as usize;
            if number[old] == NONE {
                number[old] = on_plane.len() as u32;
                on_plane.push(self.on_plane[old]);
                self.weight.push(0.0);
            }
            *unknown = number[old];
            self.weight[*unknown as usize] += 1.0;
        }
        self.on_plane = on_plane;
    }

    fn single(vertices: usize) -> Self {
        Self {
            plane: None,
            source: (0..vertices as u32).collect(),
            unknown: (0..vertices as u32).collect(),
            image: vec![false; vertices],
            flat: vec![false; vertices],
            on_plane: vec![false; vertices],
            weight: vec![1.0; vertices],
            follows: vec![false; vertices],
            alone: vec![false; vertices],
        }
    }

    /// `tied` as for [`Halves::of`]: of what follows, an image isn't asked for.
    fn paired(mesh: &QuadMesh, plane: Plane, tied: &[[u32; 2]]) -> Option<Self> {
        const NONE: u32 = u32::MAX;
        // Adding 0 makes one of both zeros.
        let key = |p: DVec3| p.to_array().map(|x| (x + 0.0).to_bits());
        let positions = &mesh.positions;
        let mut known: Vec<([u64; 3], u32)> =
            (0..).zip(positions).map(|(v, &p)| (key(p), v)).collect();
        known.sort_unstable();
        let at = |p: DVec3| {
            let wanted = key(p);
            let place = known.partition_point(|k| k.0 < wanted);
            known.get(place).filter(|k| k.0 == wanted).map(|k| k.1)
        };
        let reach = positions.iter().map(|p| p.abs().max_element());
        let on = 1e-9 * reach.fold(0.0, f64::max);
        let mut may_be_alone = vec![false; positions.len()];
        for [follower, _] in tied {
            if let Some(may) = may_be_alone.get_mut(*follower as usize) {
                *may = true;
            }
        }
        let mut this = Self::single(0);
        this.plane = Some(plane);
        this.alone = vec![false; positions.len()];
        this.unknown = vec![NONE; positions.len()];
        this.image = vec![false; positions.len()];
        this.follows = vec![false; positions.len()];
        this.flat = vec![false; positions.len()];
        this.source = (0..positions.len() as u32).collect();
        for (v, &p) in positions.iter().enumerate() {
            let height = plane.height(p);
            if height < -on {
                continue;
            }
            let on_plane = height <= on;
            let unknown = this.on_plane.len() as u32;
            this.on_plane.push(on_plane);
            this.flat[v] = on_plane;
            this.unknown[v] = unknown;
            if !on_plane {
                let image = at(plane.mirror(p)).map(|v| v as usize);
                match image.filter(|&image| this.unknown[image] == NONE) {
                    Some(image) => {
                        this.unknown[image] = unknown;
                        this.image[image] = true;
                        this.source[image] = v as u32;
                    }
                    None if may_be_alone[v] => this.alone[v] = true,
                    None => return None,
                }
            }
        }
        for v in (0..positions.len()).filter(|&v| may_be_alone[v]) {
            if this.unknown[v] == NONE {
                this.unknown[v] = this.on_plane.len() as u32;
                this.on_plane.push(false);
                this.alone[v] = true;
            }
        }
        (!this.unknown.contains(&NONE)).then_some(this)
    }

    pub fn len(&self) -> usize {
        self.on_plane.len()
    }

    /// A direction at a vertex as one at its unknown's vertex; the way back is the same.
    pub fn turned(&self, vertex: usize, direction: DVec3) -> DVec3 {
        match self.plane {
            Some(plane) if self.image[vertex] => {
                direction - 2.0 * direction.dot(plane.normal) * plane.normal
            }
            _ => direction,
        }
    }

    /// A direction at an unknown without what would lead off the plane.
    pub fn kept(&self, unknown: usize, direction: DVec3) -> DVec3 {
        match self.plane {
            Some(plane) if self.on_plane[unknown] => {
                direction - direction.dot(plane.normal) * plane.normal
            }
            _ => direction,
        }
    }

    /// Positions of the whole once its unknowns have moved; images are exact, vertices on the
    /// plane lie on it, and what doesn't move keeps its bits.
    pub fn place(&self, from: &[DVec3], moves: &[DVec3]) -> Vec<DVec3> {
        let put = |(v, &old): (usize, &DVec3)| {
            let unknown = self.unknown[v] as usize;
            if moves[unknown] == DVec3::ZERO {
                return old;
            }
            if self.alone[v] {
                return old + self.turned(v, moves[unknown]);
            }
            let p = from[self.source[v] as usize] + moves[unknown];
            match self.plane {
                Some(plane) if self.image[v] => plane.mirror(p),
                Some(plane) if self.flat[v] => plane.project(p),
                _ => p,
            }
        };
        from.iter().enumerate().map(put).collect()
    }
}
