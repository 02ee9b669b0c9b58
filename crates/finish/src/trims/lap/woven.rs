//! Laps among what is woven: their quads, and their places once the cloth has moved.

use std::collections::BTreeMap;

use mesh::{DVec3, Group};

use super::super::built::Step;
use super::super::cloth::Cloth;
use super::super::relay::{Column, Form, Laid};
use super::super::weave::{Between, Walls, Woven};
use super::{Coming, Lap, Ring};

impl Woven {
    /// Weaves a lap of the trim of a name.
    pub fn weave_lap(&mut self, coming: Coming, trim: &str) {
        let Coming {
            number,
            laid,
            overlap,
            posts,
        } = coming;
        let alone = overlap.is_alone;
        let [Some((bearing, seam)), other] = overlap.ends.map(|i| self.end(&laid, i)) else {
            return;
        };
        let first = self.mesh.quads.len() as u32;
        let start = Ring {
            outer: bearing.outer.clone(),
            rim: bearing.rim.clone(),
            inner: bearing.inner.clone(),
            bottom: seam.iter().rev().map(|(ids, _)| ids[0]).collect(),
        };
        let mut lap = Lap {
            hides: alone.then_some(overlap.ends[1]),
            step: overlap.step,
            shares: seam.iter().map(|(_, share)| *share).collect(),
            rings: vec![start],
            between: Between::new(),
            laid,
            posts,
        };
        // They are laid with all the rest.
        let mut copy = |ids: &[u32]| -> Vec<u32> {
            let each = ids.iter();
            let made = each.map(|_| match alone {
                true => self.lone_vertex(DVec3::ZERO),
                false => self.vertex(DVec3::ZERO, false),
            });
            made.collect()
        };
        for _ in 1..lap.posts.len() {
            let like = &lap.rings[0];
            let ring = Ring {
                outer: copy(&like.outer),
                rim: copy(&like.rim),
                inner: copy(&like.inner),
                bottom: copy(&like.bottom),
            };
            lap.rings.push(ring);
        }
        let mut walls = Walls::default();
        for pair in lap.rings.windows(2) {
            let (one, two) = (pair[0].around(), pair[1].around());
            let (rows, rim) = (pair[0].outer.len(), pair[0].rim.len());
            for p in 0..one.len() {
                let next = (p + 1) % one.len();
                let quad = match lap.step {
                    Step::On => [two[p], one[p], one[next], two[next]],
                    Step::Back => [one[p], two[p], two[next], one[next]],
                };
                let wall = if p + 1 < rows {
                    &mut walls.outer
                } else if (rows + rim..2 * rows + rim - 1).contains(&p) {
                    &mut walls.inner
                } else {
                    &mut walls.rim
                };
                wall.extend(self.quad(quad, !alone));
            }
        }
        let on = lap.step == Step::On;
        let last = &lap.rings[lap.rings.len() - 1];
        let bottom = last.bottom.iter().rev().copied().collect();
        let inner: Vec<u32> = last.inner.iter().rev().copied().collect();
        let (sides, ends) = ([&last.outer[..], &inner[..]], [bottom, last.rim.clone()]);
        let (quads, between) = self.end_wall(sides, ends, on, alone);
        walls.rim.extend(quads);
        lap.between.extend(between);
        if let (true, Some((column, seam))) = (alone, other) {
            // The end beneath can't have an image either: there the lap goes on.
            let inner: Vec<u32> = column.inner.iter().rev().copied().collect();
            let bottom = seam.iter().map(|(ids, _)| ids[0]).collect();
            let (sides, ends) = ([&column.outer[..], &inner[..]], [bottom, column.rim]);
            let (quads, between) = self.end_wall(sides, ends, !on, true);
            walls.rim.extend(quads);
            lap.between.extend(between);
        }
        self.name_lap(first, alone, number, trim);
        self.made.push((number, walls));
        self.laid.push(Form::Lap(lap));
    }

    /// Groups for a lap's quads, from the first on.
    fn name_lap(&mut self, first: u32, alone: bool, number: usize, trim: &str) {
        let quads: Vec<u32> = (first..self.mesh.quads.len() as u32).collect();
        let renamed = self.renamed.iter().find(|(of, _)| *of == number);
        let image = renamed.map(|(_, name)| format!("{name} lap"));
        let of = |name: &str, this: &Self, quads: Vec<u32>| Group {
            name: this.group_name(name),
            quads,
        };
        let own = format!("{trim} lap");
        let Some(image) = image.filter(|_| !alone) else {
            if alone {
                self.unpaired.extend(&quads);
            }
            let group = of(&own, self, quads);
            self.mesh.groups.push(group);
            return;
        };
        // Each quad is followed by its image.
        let (one, two) = quads.iter().partition(|&q| (q - first).is_multiple_of(2));
        for (name, quads) in [(own, one), (image, two)] {
            let group = of(&name, self, quads);
            self.mesh.groups.push(group);
        }
    }

    /// The column of an end of a trim's gap, with the vertices below it between its walls.
    fn end(&self, laid: &Laid, i: usize) -> Option<(Column, Between)> {
        let column = self.column_at(laid, i)?;
        let imaged = |v: u32| self.image.get(v as usize).copied();
        let ends = [column.outer[0], *column.inner.last()?];
        let mut seam = Between::new();
        for &([v, outer, inner], share) in &laid.between {
            if [outer, inner] == ends {
                seam.push(([v, outer, inner], share));
            } else if let (Some(a), Some(b), Some(v)) = (imaged(outer), imaged(inner), imaged(v))
                && [a, b] == ends
            {
                seam.push(([v, a, b], share));
            }
        }
        Some((column, seam))
    }

    /// Each vertex of a lap, and of the end wall that it hides, with the one of the cloth that it
    /// follows.
    pub fn lap_pairs(&self, lap: &Lap) -> Vec<[u32; 2]> {
        let laid = &lap.laid;
        let image = |v: u32| self.image.get(v as usize).copied();
        let leader = |i: usize, row: usize| -> Option<u32> {
            if laid.columns[i].is_some() {
                return laid.leader(i, row);
            }
            let front = laid.inward[i][0];
            let twin = image(front).and_then(|v| laid.inward.iter().position(|c| c[0] == v));
            let twin = twin.filter(|&j| laid.columns[j].is_some());
            // In the gap there is nothing but the opening.
            twin.map_or(Some(front), |j| laid.leader(j, row).and_then(image))
        };
        let mut pairs = Vec::new();
        let mut leader_of = BTreeMap::new();
        if let Some((i, column)) = lap.hides.and_then(|i| Some((i, self.column_at(laid, i)?))) {
            for (row, &v) in column.outer.iter().enumerate() {
                leader_of.insert(v, leader(i, row).unwrap_or(v));
            }
        }
        for (post, ring) in lap.posts.iter().zip(&lap.rings).skip(1) {
            let top = ring.outer.len() - 1;
            for row in 0..=top {
                let Some(leader) = leader(post.leader(), row) else {
                    continue;
                };
                let [outer, inner] = [ring.outer[row], ring.inner[top - row]];
                let between = match row {
                    0 => &ring.bottom[..],
                    row if row == top => &ring.rim[..],
                    _ => &[],
                };
                pairs.extend([outer, inner].iter().chain(between).map(|&v| [v, leader]));
                leader_of.insert(outer, leader);
            }
        }
        let walls = lap.between.iter();
        pairs.extend(walls.filter_map(|([v, outer, _], _)| Some([*v, *leader_of.get(outer)?])));
        pairs
    }

    /// Lays a lap on its trim's cloth.
    pub fn lay_lap(&self, lap: &Lap, cloth: &Cloth, walls: &Walls, positions: &mut [DVec3]) {
        let at = |positions: &[DVec3], ids: &[u32]| -> Vec<DVec3> {
            ids.iter().map(|&v| positions[v as usize]).collect()
        };
        let start = &lap.rings[0];
        let mut inner = at(positions, &start.inner);
        inner.reverse();
        let shape = lap.shape(cloth, &[at(positions, &start.outer), inner]);
        let top = cloth.rows.len() - 1;
        let mut outer = Vec::new();
        for (k, ring) in lap.rings.iter().enumerate().skip(1) {
            for row in 0..=top {
                self.put(positions, ring.outer[row], shape.outer[row][k]);
                self.put(positions, ring.inner[top - row], shape.inner[row][k]);
            }
            outer.extend(&ring.outer);
        }
        self.fit_outer(&outer, lap.laid.thickness, walls, positions);
        for (post, ring) in lap.posts.iter().zip(&lap.rings).skip(1) {
            let [above, below] = [
                [ring.outer[top], ring.inner[0]],
                [ring.outer[0], ring.inner[top]],
            ];
            let [above, below] = [above, below].map(|ends| ends.map(|v| positions[v as usize]));
            let out = post.at(&cloth.out).normalize_or_zero();
            let rim = lap.laid.profile.rim_between(above[0], above[1], out);
            for (&v, at) in ring.rim.iter().zip(rim) {
                self.put(positions, v, at);
            }
            for (&v, share) in ring.bottom.iter().rev().zip(&lap.shares) {
                self.put(positions, v, below[0].lerp(below[1], *share));
            }
        }
        self.lay_between(&lap.between, positions);
    }
}
