//! What the made shapes are: a solid, its cuts, and where guides go, from a number alone.

use demo::solid::{Noise, Opening};
use mesh::DVec3;

use crate::defects::Defect;
use crate::random::Random;
use crate::solid::{Bumps, Hollow, Piece, Solid};

/// How many shapes there are.
pub const SHAPES: usize = 200;

/// Where the mirror plane of a shape's job comes from.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Mirror {
    /// No plane.
    None,
    /// The plane x = 0 is given.
    Given,
    /// It is to be found.
    Find,
}

/// A closed guide where a plane cuts the shape.
#[derive(Clone, Debug, PartialEq)]
pub struct RingSpec {
    /// The guide's name.
    pub name: String,
    /// A point inside it, cm.
    pub at: DVec3,
    /// The plane's normal.
    pub normal: DVec3,
    /// Vertices further than this from `at` don't count, cm.
    pub reach: f64,
    /// Quads around.
    pub count: Option<u32>,
    /// Whether the surface is to end there: what lies along the normal is cut away.
    pub ends: bool,
}

/// An open guide where a plane cuts the shape, within a ball.
#[derive(Clone, Debug, PartialEq)]
pub struct LineSpec {
    /// The guide's name.
    pub name: String,
    /// Middle of the ball, cm.
    pub at: DVec3,
    /// The plane's normal.
    pub normal: DVec3,
    /// The ball's radius, cm.
    pub reach: f64,
}

/// A shape before it is made.
#[derive(Clone, Debug)]
pub struct Recipe {
    /// Its name, unique: number, class and what is special about it.
    pub name: String,
    /// Kind of shape.
    pub class: &'static str,
    /// Its seed.
    pub seed: u64,
    /// The solid.
    pub solid: Solid,
    /// Cuts that leave holes.
    pub openings: Vec<Opening>,
    /// Handles.
    pub genus: usize,
    /// Boundary loops that the openings leave.
    pub holes: usize,
    /// Closed guides.
    pub rings: Vec<RingSpec>,
    /// Open guides.
    pub lines: Vec<LineSpec>,
    /// Quads along each opening.
    pub rim_count: Option<u32>,
    /// Mirror plane.
    pub mirror: Mirror,
    /// Triangles wanted.
    pub triangles: usize,
    /// Unevenness of a scan: share of a triangle's edge by which vertices are off.
    pub jitter: f64,
    /// What is wrong with it.
    pub defects: Vec<Defect>,
}

impl Recipe {
    /// A closed solid without guides, plane and defects; its name and triangles are still to be said.
    pub fn plain(class: &'static str, seed: u64, solid: Solid) -> Self {
        Self {
            name: String::new(),
            class,
            seed,
            solid,
            openings: vec![],
            genus: 0,
            holes: 0,
            rings: vec![],
            lines: vec![],
            rim_count: None,
            mirror: Mirror::None,
            triangles: 0,
            jitter: 0.0,
            defects: vec![],
        }
    }
}

const CLASSES: [&str; 10] = [
    "blob", "limb", "cloth", "branch", "handles", "sheet", "wall", "figure", "block", "flat",
];

/// The shape of a number; every number has one. `again` counts how often the shape was
/// refused for not having the topology that was meant: each time it is another.
pub fn recipe(number: usize, again: u64) -> Recipe {
    let class = CLASSES[number % CLASSES.len()];
    let round = number / CLASSES.len();
    let seed = number as u64 + 1000 * again;
    let mut random = Random::new(seed);
    let solid = Solid {
        blend: 1.2,
        ..Solid::default()
    };
    let mut made = Recipe::plain(class, seed, solid);
    match class {
        "blob" => blob(&mut made, &mut random),
        "limb" => limb(&mut made, &mut random, round % 3),
        "cloth" => cloth(&mut made, &mut random, 1 + round % 8),
        "branch" => branch(&mut made, &mut random, round % 7),
        "handles" => handles(&mut made, &mut random, 1 + round % 4, (round / 4) % 5),
        "sheet" => sheet(&mut made, &mut random, round % 3),
        "wall" => wall(&mut made, &mut random, round % 2),
        "figure" => figure(&mut made, &mut random, round),
        "block" => block(&mut made, &mut random),
        _ => flat(&mut made, &mut random, round % 3),
    }
    dress(&mut made, &mut random, number, round);
    made
}

/// Size, unevenness and defects: by number, so that each class meets each of them.
fn dress(made: &mut Recipe, random: &mut Random, number: usize, round: usize) {
    made.triangles = match (round + number) % 10 {
        3 => 1_000,
        9 if round % 2 == 1 => 100_000,
        7 => 24_000,
        n => 3_000 + 1_300 * n,
    };
    if (round + 2 * number) % 4 == 3 {
        made.jitter = random.within(0.05, 0.2);
    }
    if round % 2 == 1 && made.triangles < 50_000 {
        let kinds = Defect::ALL;
        let first = kinds[(number / 2 + round) % kinds.len()];
        made.defects = match round % 6 {
            5 => kinds.to_vec(),
            _ => vec![first],
        };
    }
    let mut name = format!("{number:03}-{}", made.class);
    if made.genus > 0 {
        name += &format!("-genus{}", made.genus);
    }
    if made.holes > 0 {
        name += &format!("-holes{}", made.holes);
    }
    match made.mirror {
        Mirror::None => {}
        Mirror::Given => name += "-mirror",
        Mirror::Find => name += "-find",
    }
    match made.triangles {
        1_000 => name += "-1k",
        100_000 => name += "-100k",
        _ => {}
    }
    if made.jitter > 0.0 {
        name += "-noisy";
    }
    match made.defects.as_slice() {
        [] => {}
        [one] => name += &format!("-{}", one.name()),
        _ => name += "-every-defect",
    }
    made.name = name;
}

fn bumps(random: &mut Random, seed: u64, height: f64) -> Option<Bumps> {
    Some(Bumps {
        noise: Noise::new(seed, 1),
        wavelength: random.within(3.0, 7.0),
        height: random.within(0.3, 1.0) * height,
    })
}

fn opening(origin: DVec3, normal: DVec3, reach: f64) -> Opening {
    Opening {
        name: "cut",
        origin,
        normal,
        centre: origin + 0.4 * reach * normal,
        reach,
    }
}

fn ring(name: impl Into<String>, at: DVec3, normal: DVec3, reach: f64) -> RingSpec {
    RingSpec {
        name: name.into(),
        at,
        normal,
        reach,
        count: None,
        ends: false,
    }
}

fn line(name: impl Into<String>, at: DVec3, normal: DVec3, reach: f64) -> LineSpec {
    LineSpec {
        name: name.into(),
        at,
        normal,
        reach,
    }
}

/// Balls, each grown out of an earlier one.
fn blob(made: &mut Recipe, random: &mut Random) {
    let mut balls = vec![(DVec3::ZERO, random.within(5.0, 8.0))];
    for _ in 0..2 + random.below(4) {
        let (from, radius) = balls[random.below(balls.len())];
        let at = from + radius * random.within(0.7, 1.2) * random.direction();
        balls.push((at, radius * random.within(0.5, 0.8)));
    }
    made.solid.blend = random.within(1.0, 3.0);
    made.solid.pieces = balls
        .iter()
        .map(|&(centre, radius)| Piece::Ball {
            centre,
            radii: DVec3::splat(radius),
        })
        .collect();
    if random.below(2) == 0 {
        made.solid.bumps = bumps(random, made.seed, 0.8);
    }
    let (centre, radius) = balls[0];
    made.rings
        .push(ring("waist", centre, random.direction(), 40.0));
    if random.below(2) == 0 {
        made.lines
            .push(line("flow", centre, random.direction(), radius * 1.1));
    }
}

/// A bent tube; `holes` of its ends are open.
fn limb(made: &mut Recipe, random: &mut Random, holes: usize) {
    let pieces = 2 + random.below(3);
    let mut radius = random.within(2.0, 4.0);
    let mut at = DVec3::ZERO;
    let mut along = DVec3::Y;
    let mut ends = vec![(at, -along, radius)];
    let count = [None, Some(8), Some(12)][random.below(3)];
    for k in 0..pieces {
        let length = radius * random.within(3.0, 5.0);
        let next = at + length * along;
        let slimmer = radius * random.within(0.75, 1.05);
        made.solid.pieces.push(Piece::Limb {
            a: at,
            ra: radius,
            b: next,
            rb: slimmer,
        });
        let mut one = ring(format!("ring {k}"), at.lerp(next, 0.5), along, 2.0 * radius);
        one.count = count;
        made.rings.push(one);
        if k == 0 {
            let across = along.any_orthonormal_vector();
            made.lines.push(line(
                "seam",
                at + length * 0.5 * along + radius * along.cross(across),
                across,
                0.9 * radius,
            ));
        }
        (at, radius) = (next, slimmer);
        ends.truncate(1);
        ends.push((at, along, radius));
        let bend = random.within(0.2, 1.2);
        let side = along.any_orthonormal_vector();
        let turn = random.within(0.0, std::f64::consts::TAU);
        let side = turn.cos() * side + turn.sin() * along.cross(side);
        along = (bend.cos() * along + bend.sin() * side).normalize();
    }
    made.holes = holes;
    made.rim_count = count;
    for &(at, out, radius) in ends.iter().take(holes) {
        made.openings.push(opening(at, out, 2.2 * radius));
    }
    // A closed end of some limbs is to be cut away by the guide alone.
    if holes < 2 && random.below(2) == 0 {
        let (at, out, radius) = ends[1];
        let mut one = ring("drawn end", at - 0.5 * radius * out, out, 2.0 * radius);
        (one.ends, one.count) = (true, count);
        made.rings.push(one);
    }
}

/// A body of cloth without its underside, with more holes in it.
fn cloth(made: &mut Recipe, random: &mut Random, holes: usize) {
    let radii = DVec3::new(
        random.within(9.0, 11.0),
        random.within(10.0, 14.0),
        random.within(9.0, 11.0),
    );
    made.solid.pieces.push(Piece::Ball {
        centre: DVec3::ZERO,
        radii,
    });
    made.solid.bumps = bumps(random, made.seed, 0.9);
    made.openings
        .push(opening(DVec3::new(0.0, -4.0, 0.0), DVec3::NEG_Y, 26.0));
    made.holes = holes;
    for k in 1..holes {
        let turn = std::f64::consts::TAU * (k as f64 / (holes - 1) as f64 + 0.03);
        let out = DVec3::new(turn.cos(), 0.45, turn.sin()).normalize();
        let out = if k == 1 { DVec3::Y } else { out };
        let on = out / (out / radii).length();
        made.openings
            .push(opening(on - 0.8 * out, out, random.within(3.4, 4.2)));
    }
    made.rings
        .push(ring("girdle", DVec3::new(0.0, -1.0, 0.0), DVec3::Y, 40.0));
    let front = DVec3::new(0.0, 2.0, radii.z);
    made.lines.push(line("placket", front, DVec3::X, 4.0));
}

/// Limbs that meet in one place; `holes` of them are open.
fn branch(made: &mut Recipe, random: &mut Random, holes: usize) {
    let limbs = holes.max(3 + random.below(3)).min(6);
    let mut ways: Vec<DVec3> = Vec::new();
    for _ in 0..400 {
        let way = random.direction();
        if ways.len() < limbs && ways.iter().all(|w| w.dot(way) < 0.35) {
            ways.push(way);
        }
    }
    made.solid.blend = random.within(1.0, 2.5);
    made.solid.pieces.push(Piece::Ball {
        centre: DVec3::ZERO,
        radii: DVec3::splat(3.4),
    });
    let holes = holes.min(ways.len());
    let count = [None, Some(8), Some(10)][random.below(3)];
    made.rim_count = count;
    for (k, &way) in ways.iter().enumerate() {
        let (ra, rb) = (random.within(1.6, 2.6), random.within(1.2, 2.0));
        let length = random.within(9.0, 15.0);
        made.solid.pieces.push(Piece::Limb {
            a: DVec3::ZERO,
            ra,
            b: length * way,
            rb,
        });
        let mut one = ring(format!("arm {k}"), 0.65 * length * way, way, 3.0 * rb);
        one.count = count;
        made.rings.push(one);
        if k < holes {
            made.openings.push(opening(length * way, way, 2.2 * rb));
        }
    }
    made.holes = holes;
}

/// A ball with handles, and stubs that are open.
fn handles(made: &mut Recipe, random: &mut Random, genus: usize, holes: usize) {
    made.genus = genus;
    made.holes = holes;
    let radius = 7.0;
    // More of them must be smaller to have room side by side.
    let (wide, apart) = if genus + holes > 4 {
        (2.5, 0.45)
    } else {
        (3.6, 0.25)
    };
    made.solid.blend = 0.8;
    made.solid.pieces.push(Piece::Ball {
        centre: DVec3::ZERO,
        radii: DVec3::splat(radius),
    });
    let mut ways: Vec<DVec3> = Vec::new();
    for _ in 0..2000 {
        let way = random.direction();
        if ways.len() < genus + holes && ways.iter().all(|w| w.dot(way) < apart) {
            ways.push(way);
        }
    }
    for (k, &way) in ways.iter().enumerate() {
        if k < genus {
            let side = way.any_orthonormal_vector();
            let (turn, tube) = (random.within(0.0, 3.1), random.within(0.9, 1.4));
            let axis = turn.cos() * side + turn.sin() * way.cross(side);
            let centre = (radius + 0.3) * way;
            made.solid.pieces.push(Piece::Ring {
                centre,
                axis,
                radius: wide,
                tube,
            });
            let (at, along) = (centre + wide * way, axis.cross(way));
            made.rings
                .push(ring(format!("handle {k}"), at, along, 2.2 * tube));
        } else {
            let (end, slim) = (1.6 * radius * way, random.within(1.6, 2.2));
            made.solid.pieces.push(Piece::Limb {
                a: DVec3::ZERO,
                ra: slim,
                b: end,
                rb: slim,
            });
            made.openings.push(opening(end, way, 2.2 * slim));
        }
    }
    if ways.len() < genus + holes {
        // No room on the ball: the topology won't be right, and the next one is tried.
        made.solid.pieces.truncate(1);
    }
}

/// A single-walled sheet with four corners and `more` round holes.
fn sheet(made: &mut Recipe, random: &mut Random, more: usize) {
    let (width, depth) = (random.within(6.0, 9.0), random.within(5.0, 9.0));
    made.solid.pieces.push(Piece::Ball {
        centre: DVec3::ZERO,
        radii: DVec3::new(16.0, 5.0, 16.0),
    });
    made.solid.bumps = bumps(random, made.seed, 0.9);
    let cuts = [
        (DVec3::ZERO, DVec3::NEG_Y),
        (width * DVec3::X, DVec3::X),
        (-width * DVec3::X, DVec3::NEG_X),
        (depth * DVec3::Z, DVec3::Z),
        (-depth * DVec3::Z, DVec3::NEG_Z),
    ];
    // Balls so wide that the planes alone count.
    made.openings
        .extend(cuts.map(|(at, out)| opening(at, out, 60.0)));
    for k in 0..more {
        let x = (k as f64 - 0.5 * (more - 1) as f64) * width;
        let top = DVec3::new(x, 5.0 * (1.0 - (x / 16.0).powi(2)).sqrt(), 0.0);
        made.solid.pieces.push(Piece::Limb {
            a: top - DVec3::Y,
            ra: 1.6,
            b: top + 2.5 * DVec3::Y,
            rb: 1.5,
        });
        made.openings
            .push(opening(top + 2.2 * DVec3::Y, DVec3::Y, 3.6));
        made.rings.push(ring(
            format!("collar {k}"),
            top + 1.4 * DVec3::Y,
            DVec3::Y,
            4.0,
        ));
    }
    made.holes = 1 + more;
    let side = DVec3::new(0.0, 4.6, 0.55 * depth);
    made.lines.push(line("crease", side, DVec3::Z, 0.6 * width));
}

/// A thick wall: a cup, or a pipe (genus 1).
fn wall(made: &mut Recipe, random: &mut Random, genus: usize) {
    made.genus = genus;
    let radii = DVec3::new(random.within(7.0, 10.0), 11.0, random.within(7.0, 10.0));
    made.solid.pieces.push(Piece::Ball {
        centre: DVec3::ZERO,
        radii,
    });
    made.solid.bumps = bumps(random, made.seed, 0.5);
    made.solid.hollow = Some(Hollow {
        thickness: random.within(1.2, 2.4),
        top: random.within(3.0, 6.0),
        bottom: if genus == 1 { -5.0 } else { -50.0 },
    });
    made.rings
        .push(ring("outside", DVec3::ZERO, DVec3::Y, 40.0));
}

/// A symmetric figure: trunk, arms, head; ends open by `round`.
fn figure(made: &mut Recipe, random: &mut Random, round: usize) {
    made.solid.mirrored = true;
    made.mirror = [Mirror::Given, Mirror::Given, Mirror::Find, Mirror::None][round % 4];
    let trunk = DVec3::new(0.0, 0.0, random.within(-0.5, 0.5));
    made.solid.pieces.push(Piece::Ball {
        centre: trunk,
        radii: DVec3::new(5.0, 9.0, 3.8),
    });
    let shoulder = trunk + DVec3::new(2.5, 5.0, 0.0);
    let down = random.within(-1.0, 0.3);
    let along = DVec3::new(down.cos(), down.sin(), random.within(-0.2, 0.3)).normalize();
    let hand = shoulder + 11.0 * along;
    made.solid.pieces.push(Piece::Limb {
        a: shoulder,
        ra: 2.3,
        b: hand,
        rb: 1.5,
    });
    let neck = trunk + DVec3::new(0.0, 7.0, 0.0);
    let top = neck + DVec3::new(0.0, 5.0, 0.6);
    made.solid.pieces.push(Piece::Limb {
        a: neck,
        ra: 2.2,
        b: top,
        rb: 1.9,
    });
    let count = [None, Some(8), Some(12)][random.below(3)];
    let both = |at: DVec3| [at, DVec3::new(-at.x, at.y, at.z)];
    let elbow = shoulder + 6.5 * along;
    // Drawn on one side only, or on both.
    let sides = if made.mirror == Mirror::None || round.is_multiple_of(3) {
        2
    } else {
        1
    };
    for (side, (at, out)) in both(elbow)
        .into_iter()
        .zip(both(along))
        .enumerate()
        .take(sides)
    {
        let mut one = ring(format!("elbow {side}"), at, out, 4.5);
        one.count = count;
        made.rings.push(one);
    }
    let mut waist = ring("waist", trunk - 2.0 * DVec3::Y, DVec3::Y, 7.5);
    waist.count = [None, Some(20)][random.below(2)];
    made.rings.push(waist);
    if round % 5 < 3 {
        made.holes = 2;
        made.rim_count = count;
        for (at, out) in both(hand).into_iter().zip(both(along)) {
            made.openings.push(opening(at, out, 3.4));
        }
    }
    if round % 5 < 2 {
        made.holes += 2;
        made.openings.push(opening(top, DVec3::Y, 4.4));
        made.openings
            .push(opening(trunk - 6.0 * DVec3::Y, DVec3::NEG_Y, 7.0));
    }
    if round.is_multiple_of(2) {
        let front = trunk + DVec3::new(0.0, 1.0, 3.8);
        made.lines.push(line("front", front, DVec3::X, 3.0));
    }
}

/// Boxes with hard edges.
fn block(made: &mut Recipe, random: &mut Random) {
    let mut at = DVec3::ZERO;
    for _ in 0..1 + random.below(3) {
        let half = DVec3::new(
            random.within(3.0, 7.0),
            random.within(3.0, 7.0),
            random.within(3.0, 7.0),
        );
        made.solid.pieces.push(Piece::Block {
            centre: at,
            half,
            rounding: random.within(0.2, 0.6),
        });
        at += 0.8 * half * random.direction().signum();
    }
    made.solid.blend = 0.4;
    made.rings.push(ring("band", DVec3::ZERO, DVec3::Y, 40.0));
}

/// A thin lens or a long needle, closed or open.
fn flat(made: &mut Recipe, random: &mut Random, kind: usize) {
    match kind {
        0 => {
            made.solid.pieces.push(Piece::Ball {
                centre: DVec3::ZERO,
                radii: DVec3::new(12.0, random.within(0.8, 1.5), 10.0),
            });
            made.rings.push(ring("rim", DVec3::ZERO, DVec3::Y, 40.0));
        }
        1 => {
            let slim = random.within(0.5, 0.8);
            made.solid.pieces.push(Piece::Limb {
                a: DVec3::ZERO,
                ra: slim,
                b: DVec3::new(26.0, 3.0, 1.0),
                rb: 0.6 * slim,
            });
            let mut one = ring("middle", DVec3::new(13.0, 1.5, 0.5), DVec3::X, 3.0);
            one.count = Some(6);
            made.rings.push(one);
        }
        _ => {
            let slim = random.within(0.7, 1.0);
            let ends = [DVec3::ZERO, DVec3::new(0.0, 24.0, 0.0)];
            made.solid.pieces.push(Piece::Limb {
                a: ends[0],
                ra: slim,
                b: ends[1],
                rb: slim,
            });
            made.holes = 2;
            made.openings.push(opening(ends[0], DVec3::NEG_Y, 2.4));
            made.openings.push(opening(ends[1], DVec3::Y, 2.4));
            made.rings
                .push(ring("middle", DVec3::new(0.0, 12.0, 0.0), DVec3::Y, 3.0));
        }
    }
}

#[cfg(test)]
mod tests {
    use std::collections::BTreeSet;

    use super::*;

    #[test]
    fn names_are_unique_and_every_kind_is_there() {
        let all: Vec<Recipe> = (0..SHAPES).map(|n| recipe(n, 0)).collect();
        let names: BTreeSet<&str> = all.iter().map(|r| r.name.as_str()).collect();
        assert_eq!(names.len(), SHAPES);
        for genus in 0..=4 {
            assert!(all.iter().any(|r| r.genus == genus), "genus {genus}");
        }
        for holes in 0..=8 {
            assert!(all.iter().any(|r| r.holes == holes), "holes {holes}");
        }
        for defect in Defect::ALL {
            assert!(
                all.iter().any(|r| r.defects == [defect]),
                "{}",
                defect.name()
            );
        }
        for triangles in [1_000, 100_000] {
            assert!(all.iter().any(|r| r.triangles == triangles));
        }
        for mirror in [Mirror::Given, Mirror::Find] {
            assert!(
                all.iter()
                    .any(|r| r.mirror == mirror && r.defects.is_empty())
            );
        }
    }
}
