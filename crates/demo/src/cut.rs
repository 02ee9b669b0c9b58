//! Plane cuts that leave a real boundary.

use std::collections::BTreeMap;

use mesh::DVec3;

use crate::sdf::Shape;
use crate::wall::{FREE, Neighbours, Wall};

/// Share of the mean edge within which a vertex is moved onto the plane instead of
/// leaving a sliver beside it.
const SNAP: f64 = 0.3;

/// A plane that ends the surface, within a ball.
#[derive(Clone, Debug)]
pub struct Opening {
    /// What the opening is called.
    pub name: &'static str,
    /// A point on the plane.
    pub origin: DVec3,
    /// Unit normal, pointing to what is cut away.
    pub normal: DVec3,
    /// Middle of the ball outside which nothing is cut.
    pub centre: DVec3,
    /// That ball's radius, cm.
    pub reach: f64,
}

impl Opening {
    /// Height over the plane; deep below it outside the ball.
    fn height(&self, p: DVec3) -> f64 {
        if p.distance_squared(self.centre) < self.reach * self.reach {
            (p - self.origin).dot(self.normal)
        } else {
            -self.reach
        }
    }

    /// The nearby point that lies on the plane and on the shape.
    pub(crate) fn project(&self, shape: &dyn Shape, p: DVec3) -> DVec3 {
        let mut p = p - (p - self.origin).dot(self.normal) * self.normal;
        for _ in 0..3 {
            let (value, gradient) = shape.with_gradient(p);
            let within = gradient - gradient.dot(self.normal) * self.normal;
            p -= within * (value / within.length_squared().max(0.05));
        }
        p - (p - self.origin).dot(self.normal) * self.normal
    }
}

/// Cuts away what lies over the opening's plane. New boundary vertices get `rail`.
pub(crate) fn cut(wall: &mut Wall, opening: &Opening, rail: u8, shape: &dyn Shape, edge: f64) {
    let mut height: Vec<f64> = wall.positions.iter().map(|p| opening.height(*p)).collect();
    snap(wall, opening, rail, shape, edge, &mut height);
    clip(wall, opening, rail, shape, &height);
    compact(wall);
}

/// Moves vertices near the plane onto it, unless that would leave two fans at a vertex.
fn snap(
    wall: &mut Wall,
    opening: &Opening,
    rail: u8,
    shape: &dyn Shape,
    edge: f64,
    height: &mut [f64],
) {
    let near: Vec<usize> = (0..height.len())
        .filter(|&v| height[v].abs() < SNAP * edge)
        .collect();
    let band: Vec<bool> = height.iter().map(|h| h.abs() < 4.0 * edge).collect();
    let links = Neighbours::new(
        wall.positions.len(),
        wall.triangles
            .iter()
            .filter(|t| t.iter().any(|v| band[*v as usize]))
            .flat_map(|t| {
                (0..3).flat_map(move |i| [(t[i], t[(i + 1) % 3]), (t[i], t[(i + 2) % 3])])
            }),
    );
    for v in near {
        if wall.rail[v] != FREE {
            continue;
        }
        let before = std::mem::replace(&mut height[v], 0.0);
        let sound = std::iter::once(v)
            .chain(links.of(v).iter().map(|n| *n as usize))
            .filter(|&u| height[u] == 0.0)
            .all(|u| kept_fans(links.of(u), height) <= 1);
        if sound {
            wall.positions[v] = opening.project(shape, wall.positions[v]);
            wall.rail[v] = rail;
        } else {
            height[v] = before;
        }
    }
}

/// How many separate fans are kept at a vertex on the plane; `link` holds the link's edges
/// as pairs, in any order.
fn kept_fans(link: &[u32], height: &[f64]) -> usize {
    // Each fan that isn't the whole turn ends twice: in an edge that crosses the plane, or at
    // a vertex between a kept triangle and a dropped one.
    let mut ends: BTreeMap<u32, usize> = BTreeMap::new();
    let mut crossings = 0;
    let mut kept = 0;
    for pair in link.chunks_exact(2) {
        let (a, b) = (height[pair[0] as usize], height[pair[1] as usize]);
        if a.min(b) >= 0.0 {
            continue;
        }
        kept += 1;
        if a.max(b) > 0.0 {
            crossings += 1;
        }
        for (v, h) in [(pair[0], a), (pair[1], b)] {
            if h <= 0.0 {
                *ends.entry(v).or_default() += 1;
            }
        }
    }
    let open = ends.values().filter(|n| **n == 1).count() + crossings;
    if kept == 0 {
        0
    } else {
        open.div_ceil(2).max(1)
    }
}

fn clip(wall: &mut Wall, opening: &Opening, rail: u8, shape: &dyn Shape, height: &[f64]) {
    let mut made: BTreeMap<(u32, u32), u32> = BTreeMap::new();
    let triangles = std::mem::take(&mut wall.triangles);
    for t in triangles {
        let h = t.map(|v| height[v as usize]);
        if h.iter().all(|h| *h >= 0.0) {
            continue;
        }
        if h.iter().all(|h| *h <= 0.0) {
            wall.triangles.push(t);
            continue;
        }
        let mut corners: Vec<u32> = Vec::with_capacity(4);
        for i in 0..3 {
            let (a, b) = (t[i], t[(i + 1) % 3]);
            let (ha, hb) = (h[i], h[(i + 1) % 3]);
            if ha <= 0.0 {
                corners.push(a);
            }
            if ha * hb < 0.0 {
                let vertex = *made.entry((a.min(b), a.max(b))).or_insert_with(|| {
                    let (pa, pb) = (wall.positions[a as usize], wall.positions[b as usize]);
                    let at = pa + (pb - pa) * (ha / (ha - hb));
                    wall.positions.push(opening.project(shape, at));
                    wall.rail.push(rail);
                    wall.positions.len() as u32 - 1
                });
                corners.push(vertex);
            }
        }
        push_polygon(wall, &corners);
    }
}

/// A triangle, or a quad split along its shorter diagonal.
fn push_polygon(wall: &mut Wall, corners: &[u32]) {
    let at = |v: u32| wall.positions[v as usize];
    match *corners {
        [a, b, c] => wall.triangles.push([a, b, c]),
        [a, b, c, d] if at(a).distance_squared(at(c)) <= at(b).distance_squared(at(d)) => {
            wall.triangles.extend([[a, b, c], [a, c, d]]);
        }
        [a, b, c, d] => wall.triangles.extend([[a, b, d], [b, c, d]]),
        _ => {}
    }
}

/// Drops vertices without triangles.
fn compact(wall: &mut Wall) {
    let mut used = vec![false; wall.positions.len()];
    for t in &wall.triangles {
        for v in t {
            used[*v as usize] = true;
        }
    }
    let mut new = vec![0u32; used.len()];
    let mut count = 0;
    for v in 0..used.len() {
        if used[v] {
            new[v] = count;
            wall.positions[count as usize] = wall.positions[v];
            wall.rail[count as usize] = wall.rail[v];
            count += 1;
        }
    }
    wall.positions.truncate(count as usize);
    wall.rail.truncate(count as usize);
    for t in &mut wall.triangles {
        *t = t.map(|v| new[v as usize]);
    }
}
