//! A surface as its OBJ file has it, read and looked at by code that shares nothing with the
//! project's.

use std::collections::{BTreeMap, BTreeSet};

use mesh::DVec3;

/// The text of a surface's vertices and faces.
pub struct Surface {
    /// Coordinates as written.
    pub words: Vec<[String; 3]>,
    pub positions: Vec<DVec3>,
    /// Corners from 0, as many as each face has.
    pub faces: Vec<Vec<usize>>,
}

impl Surface {
    pub fn parse(text: &str) -> Self {
        let mut surface = Self {
            words: Vec::new(),
            positions: Vec::new(),
            faces: Vec::new(),
        };
        for line in text.lines() {
            let mut words = line.split(' ');
            match words.next() {
                Some("v") => {
                    let words: Vec<String> = words.map(str::to_owned).collect();
                    let words: [String; 3] = words.try_into().unwrap();
                    let place = words.clone().map(|w| w.parse().unwrap());
                    surface.positions.push(DVec3::from_array(place));
                    surface.words.push(words);
                }
                Some("f") => {
                    let corners = words.map(|w| {
                        let index = w.split('/').next().unwrap();
                        index.parse::<usize>().unwrap() - 1
                    });
                    surface.faces.push(corners.collect());
                }
                _ => {}
            }
        }
        surface
    }

    /// Each edge, lower vertex first, with the number of its faces.
    pub fn edges(&self) -> BTreeMap<(usize, usize), usize> {
        let mut edges = BTreeMap::new();
        for face in &self.faces {
            for (i, &a) in face.iter().enumerate() {
                let b = face[(i + 1) % face.len()];
                *edges.entry((a.min(b), a.max(b))).or_insert(0) += 1;
            }
        }
        edges
    }

    /// V − E + F, Euler's polyhedron formula.
    pub fn euler(&self) -> i64 {
        self.positions.len() as i64 - self.edges().len() as i64 + self.faces.len() as i64
    }

    /// Σ (4 − valence) over inner vertices + Σ (3 − valence) over boundary vertices. On a
    /// manifold of quads this is 4 χ: 2E = 4F + B and Euler's formula give it by counting.
    pub fn valence_sum(&self) -> i64 {
        let mut valence = vec![0i64; self.positions.len()];
        let mut boundary = BTreeSet::new();
        for ((a, b), faces) in self.edges() {
            valence[a] += 1;
            valence[b] += 1;
            if faces == 1 {
                boundary.extend([a, b]);
            }
        }
        let regular = |v: usize| if boundary.contains(&v) { 3 } else { 4 };
        (0..valence.len()).map(|v| regular(v) - valence[v]).sum()
    }

    fn mean_edge(&self) -> f64 {
        let edges = self.edges();
        let length = |(a, b): &(usize, usize)| self.positions[*a].distance(self.positions[*b]);
        edges.keys().map(length).sum::<f64>() / edges.len() as f64
    }

    /// The edges along a closed guide: those that are nearest of all that run its way, from
    /// enough places on it. Runs that lead nowhere are cut off: in a fold, the next row comes
    /// near too.
    pub fn edges_along(&self, guide: &[DVec3]) -> Vec<(usize, usize)> {
        let step = 0.02 * self.mean_edge();
        let edges: Vec<(usize, usize)> = self.edges().into_keys().collect();
        let mut covered = vec![0.0; edges.len()];
        for i in 0..guide.len() {
            let (a, b) = (guide[i], guide[(i + 1) % guide.len()]);
            let tangent = (b - a).normalize();
            let steps = (a.distance(b) / step).ceil() as usize;
            for k in 0..steps {
                let sample = a.lerp(b, (k as f64 + 0.5) / steps as f64);
                let near = |&e: &usize| self.distance_along(edges[e], sample, tangent);
                let found = (0..edges.len()).filter_map(|e| Some((near(&e)?, e)));
                if let Some((_, edge)) = found.min_by(|a, b| a.0.total_cmp(&b.0)) {
                    covered[edge] += a.distance(b) / steps as f64;
                }
            }
        }
        let length = |(a, b): (usize, usize)| self.positions[a].distance(self.positions[b]);
        let enough = (0..edges.len()).filter(|&e| covered[e] > 0.3 * length(edges[e]));
        without_dangling(enough.map(|e| edges[e]).collect())
    }

    /// Distance from a place on a guide to an edge, if the edge runs within 45° of its way.
    fn distance_along(&self, (a, b): (usize, usize), from: DVec3, way: DVec3) -> Option<f64> {
        let (a, b) = (self.positions[a], self.positions[b]);
        let along = b - a;
        let runs = along.dot(way).abs() > std::f64::consts::FRAC_1_SQRT_2 * along.length();
        let t = ((from - a).dot(along) / along.length_squared()).clamp(0.0, 1.0);
        runs.then(|| from.distance(a + t * along))
    }

    /// Whether edges make one closed run that passes each vertex once.
    pub fn is_one_cycle(edges: &[(usize, usize)]) -> bool {
        let mut ends: BTreeMap<usize, Vec<usize>> = BTreeMap::new();
        for &(a, b) in edges {
            ends.entry(a).or_default().push(b);
            ends.entry(b).or_default().push(a);
        }
        if ends.is_empty() || ends.values().any(|to| to.len() != 2) {
            return false;
        }
        let start = edges[0].0;
        let (mut before, mut at, mut steps) = (start, ends[&start][0], 1);
        while at != start {
            let next = *ends[&at].iter().find(|&&v| v != before).unwrap();
            (before, at) = (at, next);
            steps += 1;
        }
        steps == edges.len()
    }

    /// Vertices that have no mirror image, digit for digit; and faces whose image, turned
    /// round, is no face.
    pub fn without_image(&self, axis: usize) -> (usize, usize) {
        let numbers: BTreeMap<&[String; 3], usize> =
            self.words.iter().enumerate().map(|(v, w)| (w, v)).collect();
        let image = |v: usize| {
            let mut words = self.words[v].clone();
            words[axis] = match words[axis].strip_prefix('-') {
                Some(positive) => positive.to_owned(),
                None if words[axis] == "0" => "0".to_owned(),
                None => format!("-{}", words[axis]),
            };
            numbers.get(&words).copied()
        };
        let images: Vec<Option<usize>> = (0..self.words.len()).map(image).collect();
        let turned = |face: &[usize]| {
            let lowest = face.iter().enumerate().min_by_key(|(_, v)| **v).unwrap().0;
            let mut face = face.to_vec();
            face.rotate_left(lowest);
            face
        };
        let all: BTreeSet<Vec<usize>> = self.faces.iter().map(|f| turned(f)).collect();
        let lacks = |face: &&Vec<usize>| {
            let image: Option<Vec<usize>> = face.iter().rev().map(|&v| images[v]).collect();
            !image.is_some_and(|image| all.contains(&turned(&image)))
        };
        let vertices = images.iter().filter(|image| image.is_none()).count();
        (vertices, self.faces.iter().filter(lacks).count())
    }
}

/// Takes edges away that end at a vertex of no other edge, until there are none.
fn without_dangling(mut edges: Vec<(usize, usize)>) -> Vec<(usize, usize)> {
    loop {
        let mut degree: BTreeMap<usize, usize> = BTreeMap::new();
        for (a, b) in &edges {
            *degree.entry(*a).or_insert(0) += 1;
            *degree.entry(*b).or_insert(0) += 1;
        }
        let before = edges.len();
        edges.retain(|(a, b)| degree[a] > 1 && degree[b] > 1);
        if edges.len() == before {
            return edges;
        }
    }
}
