//! Bands among what is woven: their quads, and their places once the cloth has moved.

use mesh::{DVec3, Group, QuadMesh, QuadTopology};

use super::super::findings::thickness;
use super::super::fit::{FINE, fitted};
use super::super::relay::Form;
use super::super::weave::{Walls, Woven};
use super::super::{Placed, TrimError, TrimInput};
use super::{Band, Section, Shape};

/// How a section lies to the mirror plane.
#[derive(Clone, Copy, PartialEq)]
enum Lies {
    /// To one side of it: its image is another section.
    Beside,
    /// On it.
    On,
    /// Across it, half to either side: it is its own image.
    Across,
}

impl Woven {
    /// Weaves a band on the cloth, led over its folds by so many rounds.
    pub fn weave_band(
        &mut self,
        input: &TrimInput<'_>,
        topology: &QuadTopology,
        number: usize,
        placed: &Placed,
        eased: u32,
    ) -> Result<(), TrimError> {
        let mut band = Band::new(input, topology, placed, &self.image, eased)?;
        let shape = band.shape(&input.surface.positions);
        let at: Vec<DVec3> = placed
            .run
            .iter()
            .map(|&v| self.mesh.positions[v as usize])
            .collect();
        let built = self.built(placed, &at)?;
        let first = self.mesh.quads.len() as u32;
        // A band along the plane lies on both sides of it: what is built of a column holds its image.
        let along_plane = built.on_plane.iter().all(|&on| on);
        let lies = |i: usize| match (along_plane, built.on_plane[i]) {
            (true, _) => Lies::Across,
            (false, true) => Lies::On,
            (false, false) => Lies::Beside,
        };
        let section = |i: usize| {
            let here = built.is_here(i);
            here.then(|| self.section(&band, &shape, i, lies(i)))
        };
        let sections: Vec<Option<Section>> = (0..at.len()).map(section).collect();
        let mut walls = Walls::default();
        let rows = band.rows.len();
        for (i, j) in mesh::runs::pieces(at.len(), placed.closed) {
            let (Some(here), Some(there)) = (&sections[i], &sections[j]) else {
                continue;
            };
            let (one, two) = (here.around(), there.around());
            let flat = built.on_plane[i] && built.on_plane[j];
            let back = rows - 1 + here.right.len() + 1;
            for p in 0..one.len() {
                let next = (p + 1) % one.len();
                let quad = [two[p], one[p], one[next], two[next]];
                let wall = if p + 1 < rows {
                    &mut walls.outer
                } else if (back..back + rows - 1).contains(&p) {
                    &mut walls.inner
                } else {
                    &mut walls.rim
                };
                wall.extend(self.quad(quad, !flat));
            }
        }
        for (i, turned) in built.open_ends(placed.closed) {
            // On the plane the image goes on.
            if let Some(section) = sections[i].as_ref().filter(|_| lies(i) != Lies::On) {
                let between = self.band_end(section, turned, lies(i), &mut walls);
                band.between.extend(between);
            }
        }
        band.sections = sections;
        let name = self.group_name(&placed.trim.name);
        let quads = (first..self.mesh.quads.len() as u32).collect();
        self.mesh.groups.push(Group { name, quads });
        self.made.push((number, walls));
        self.laid.push(Form::Band(band));
        Ok(())
    }

    /// The vertices of a band across its loop.
    fn section(&mut self, band: &Band, shape: &Shape, i: usize, lies: Lies) -> Section {
        let mut row = |places: &[Vec<DVec3>]| -> Vec<u32> {
            let places: Vec<DVec3> = places.iter().map(|row| row[i]).collect();
            self.across(&places, lies)
        };
        let (outer, inner) = (row(&shape.outer), row(&shape.inner));
        let mut rim = |right: bool| -> Vec<u32> {
            let edge = if right { band.rows.len() - 1 } else { 0 };
            let ends = [shape.outer[edge][i], shape.inner[edge][i]];
            let places = shape.rim(&band.profile, right, i, ends).into_iter();
            places.map(|p| self.vertex(p, lies == Lies::On)).collect()
        };
        let left = rim(false);
        let right = match lies {
            Lies::Across => left.iter().map(|&v| self.image[v as usize]).collect(),
            _ => rim(true),
        };
        Section {
            outer,
            inner,
            left,
            right,
        }
    }

    /// Vertices of a row across the loop, from its left to its right.
    fn across(&mut self, places: &[DVec3], lies: Lies) -> Vec<u32> {
        if lies != Lies::Across {
            let each = places.iter();
            return each.map(|&p| self.vertex(p, lies == Lies::On)).collect();
        }
        let middle = places.len() / 2;
        let left = places[..middle].iter();
        let mut row: Vec<u32> = left.map(|&p| self.vertex(p, false)).collect();
        let images: Vec<u32> = row.iter().rev().map(|&v| self.image[v as usize]).collect();
        row.push(self.vertex(places[middle], true));
        row.extend(images);
        row
    }

    /// An end wall; answers its vertices between the walls with those on the walls and the share
    /// between.
    fn band_end(
        &mut self,
        section: &Section,
        turned: bool,
        lies: Lies,
        walls: &mut Walls,
    ) -> Vec<([u32; 3], f64)> {
        let mut between = Vec::new();
        let at = |positions: &[DVec3], v: u32| positions[v as usize];
        let steps = section.right.len();
        // Loops that hold the rim's corners go on over the end.
        let [outer, inner] = [&section.outer, &section.inner].map(|wall| wall[wall.len() - 1]);
        let share = |this: &Self, v: u32| {
            let positions = &this.mesh.positions;
            let way = at(positions, inner) - at(positions, outer);
            (at(positions, v) - at(positions, outer)).dot(way) / way.length_squared()
        };
        let shares: Vec<f64> = section.right.iter().map(|&v| share(self, v)).collect();
        let rows = section.outer.len();
        // Between the rims: a row of vertices for each share of the way from wall to wall.
        let within = 1..rows - 1;
        let mut lines: Vec<Vec<u32>> = Vec::new();
        for &share in &shares {
            let place = |row: usize| {
                let [from, to] = [section.outer[row], section.inner[row]];
                at(&self.mesh.positions, from).lerp(at(&self.mesh.positions, to), share)
            };
            let places: Vec<DVec3> = within.clone().map(place).collect();
            let line = self.across(&places, lies);
            for (row, &v) in within.clone().zip(&line) {
                between.push(([v, section.outer[row], section.inner[row]], share));
            }
            lines.push(line);
        }
        let line = |row: usize| {
            let mut all = vec![section.outer[row]];
            match section.rim(row) {
                Some(rim) => all.extend(rim),
                None => all.extend(lines.iter().map(|line| line[row - 1])),
            }
            all.push(section.inner[row]);
            all
        };
        let grid: Vec<Vec<u32>> = (0..rows).map(line).collect();
        for pair in grid.windows(2) {
            for k in 0..=steps {
                let [a, b, c, d] = [pair[1][k], pair[0][k], pair[0][k + 1], pair[1][k + 1]];
                let quad = if turned { [a, d, c, b] } else { [a, b, c, d] };
                // What lies across the plane has its images among its own.
                walls.rim.extend(self.quad(quad, lies == Lies::Beside));
            }
        }
        between
    }

    /// Lays a band anew on cloth whose vertices are where `positions` say.
    pub fn relay_band(&self, band: &Band, walls: &Walls, positions: &mut [DVec3]) {
        let shape = band.shape(positions);
        for (i, section) in band.sections.iter().enumerate() {
            let Some(section) = section else { continue };
            for row in 0..band.rows.len() {
                self.put(positions, section.outer[row], shape.outer[row][i]);
                self.put(positions, section.inner[row], shape.inner[row][i]);
            }
        }
        self.fit_band(band, walls, positions);
        self.close_band(band, &shape, positions);
    }

    /// Whether a band's outer wall was moved to be more nearly parallel: the inner one lies on the
    /// cloth.
    pub fn fit_band(&self, band: &Band, walls: &Walls, positions: &mut [DVec3]) -> bool {
        let outer = band.sections.iter().flatten().flat_map(|s| &s.outer);
        let outer: Vec<u32> = outer.copied().collect();
        self.fit_outer(&outer, band.thickness, walls, positions)
    }

    /// Whether vertices of an outer wall were moved so that it is more nearly parallel to the inner
    /// one.
    pub fn fit_outer(
        &self,
        outer: &[u32],
        asked: f64,
        walls: &Walls,
        positions: &mut [DVec3],
    ) -> bool {
        let mesh = QuadMesh {
            positions: positions.to_vec(),
            quads: self.mesh.quads.clone(),
            groups: Vec::new(),
        };
        if thickness(&mesh, asked, walls, None).share >= FINE {
            return false;
        }
        let mut free = vec![false; positions.len()];
        for &v in outer {
            free[v as usize] = true;
            if let Some(&image) = self.image.get(v as usize) {
                free[image as usize] = true;
            }
        }
        let fitted = fitted(&mesh, (&walls.inner, &walls.outer), asked, &free);
        for &v in outer {
            self.put(positions, v, fitted[v as usize]);
        }
        true
    }

    /// Lays rims and end walls between a band's walls.
    pub fn close_band(&self, band: &Band, shape: &Shape, positions: &mut [DVec3]) {
        let top = band.rows.len() - 1;
        for (i, section) in band.sections.iter().enumerate() {
            let Some(section) = section else { continue };
            for (right, edge, rim) in [(false, 0, &section.left), (true, top, &section.right)] {
                let ends = [section.outer[edge], section.inner[edge]];
                let ends = ends.map(|v| positions[v as usize]);
                for (&v, at) in rim.iter().zip(shape.rim(&band.profile, right, i, ends)) {
                    self.put(positions, v, at);
                }
            }
        }
        self.lay_between(&band.between, positions);
    }
}
