//! The walls of a trim laid anew once its cloth has moved, as when layers push it.
//!
//! The outer wall is what moves; inner wall, rim and end walls follow from it as they did when they
//! were woven. So walls stay parallel however the cloth bends.

use mesh::{DVec3, QuadMesh};

use super::band::Band;
use super::cloth::Cloth;
use super::findings::thickness;
use super::fit::{FINE, fitted};
use super::lap::Lap;
use super::profile::Profile;
use super::weave::{Between, Walls, Woven};

/// Cloth that is turned in and ends beyond this share of a row stands for the next row.
const STANDS: f64 = 0.8;

/// Vertices of one column, from the opening over the rim to the deepest row within.
#[derive(Clone, Debug)]
pub(super) struct Column {
    pub outer: Vec<u32>,
    pub rim: Vec<u32>,
    /// From the edge down.
    pub inner: Vec<u32>,
}

impl Column {
    pub fn profile(&self) -> Vec<u32> {
        let parts = [&self.outer, &self.rim, &self.inner];
        parts.into_iter().flatten().copied().collect()
    }

    /// The edges of both walls.
    pub fn edges(&self) -> [u32; 2] {
        [self.outer[self.outer.len() - 1], self.inner[0]]
    }

    /// The same column made of other vertices.
    pub fn map(&self, to: impl Fn(u32) -> u32) -> Self {
        let each = |list: &[u32]| list.iter().map(|&v| to(v)).collect();
        Self {
            outer: each(&self.outer),
            rim: each(&self.rim),
            inner: each(&self.inner),
        }
    }
}

/// How a trim's vertices follow from what bears it.
#[derive(Clone, Debug)]
pub(super) enum Form {
    /// Cloth at an opening.
    Edge(Laid),
    /// Cloth upon the surface.
    Band(Band),
    /// The end of cloth at an opening that lies over the other.
    Lap(Lap),
}

/// How a trim's vertices follow from its cloth at an opening.
#[derive(Clone, Debug)]
pub(super) struct Laid {
    pub thickness: f64,
    pub profile: Profile,
    pub closed: bool,
    /// The cloth as it was woven.
    pub cloth: Cloth,
    /// Of each vertex of the run, those straight into the surface, its own first.
    pub inward: Vec<Vec<u32>>,
    /// Of each vertex of the run, its column, where that is built.
    pub columns: Vec<Option<Column>>,
    /// Vertices of end walls with those of the outer and the inner wall that they lie between, and
    /// their share of the way.
    pub between: Between,
}

impl Laid {
    /// The vertex that the outer wall has in a row of a column, if it is a moving one.
    pub fn leader(&self, column: usize, row: usize) -> Option<u32> {
        let (base, outer) = (self.cloth.base, &self.columns[column].as_ref()?.outer);
        if row <= base {
            return self.inward[column].get(base - row).copied();
        }
        // An edge that is turned in follows the opening; a corner loop, its corner.
        let top = self.cloth.rows.len() - 1;
        let row = if base > 0 {
            base
        } else if self.profile.holds && row + 1 == top {
            top
        } else {
            row
        };
        outer.get(row - base).copied()
    }

    /// Each vertex that follows another one with that one, on the side that is built.
    fn pairs(&self) -> Vec<[u32; 2]> {
        let (base, top) = (self.cloth.base, self.cloth.rows.len() - 1);
        let mut pairs = Vec::new();
        let mut row_of = std::collections::BTreeMap::new();
        for (i, column) in self.columns.iter().enumerate() {
            let Some(column) = column else { continue };
            for row in 0..=top {
                let Some(leader) = self.leader(i, row) else {
                    continue;
                };
                pairs.push([column.inner[top - row], leader]);
                row_of.insert(column.inner[top - row], leader);
                if row > base && column.outer[row - base] != leader {
                    pairs.push([column.outer[row - base], leader]);
                }
                if row == top {
                    pairs.extend(column.rim.iter().map(|&v| [v, leader]));
                }
            }
        }
        let between = self.between.iter();
        pairs.extend(between.filter_map(|([v, _, inner], _)| Some([*v, *row_of.get(inner)?])));
        pairs
    }
}

impl Laid {
    /// What of the surface's inside this trim's inner wall covers: its vertices there with the inner
    /// wall's that stands for each where the wall ends, and those before, which have cloth behind
    /// them already.
    fn behind(&self) -> (Vec<[u32; 2]>, Vec<u32>) {
        let base = self.cloth.base;
        // The end of cloth that is turned in lies between two rows. It stands for the one before it,
        // so that what goes on bends where the surface does, unless next to nothing would be between.
        let end = if base == 0 || self.cloth.cut > STANDS {
            base
        } else {
            base - 1
        };
        let (mut pairs, mut covered) = (Vec::new(), Vec::new());
        for (column, inward) in self.columns.iter().zip(&self.inward) {
            if let (Some(column), Some(&v)) = (column, inward.get(end)) {
                pairs.extend(column.inner.last().map(|&inner| [v, inner]));
                covered.extend(&inward[..end]);
            }
        }
        (pairs, covered)
    }
}

impl Woven {
    /// Trims at openings.
    pub fn edges(&self) -> impl Iterator<Item = &Laid> {
        self.laid.iter().filter_map(|form| match form {
            Form::Edge(laid) => Some(laid),
            Form::Band(_) | Form::Lap(_) => None,
        })
    }

    /// Each vertex of a form that follows another one with that one, on the side that is built.
    fn pairs(&self, form: &Form) -> Vec<[u32; 2]> {
        match form {
            Form::Edge(laid) => laid.pairs(),
            Form::Band(band) => band.pairs(),
            Form::Lap(lap) => self.lap_pairs(lap),
        }
    }

    /// Vertices from whose places a form's own follow.
    fn bearers(&self, form: &Form) -> Vec<u32> {
        match form {
            Form::Edge(_) => self.pairs(form).iter().map(|pair| pair[1]).collect(),
            Form::Band(band) => band.cloth().collect(),
            Form::Lap(lap) => {
                let laid = &lap.laid;
                let front = laid.inward.iter().map(|column| column[0]);
                let cloth = laid.pairs().into_iter().map(|pair| pair[1]);
                cloth.chain(front).collect()
            }
        }
    }

    /// The column of a vertex of the run, the image of the one that is built if it isn't itself.
    pub fn column_at(&self, laid: &Laid, i: usize) -> Option<Column> {
        if let Some(column) = &laid.columns[i] {
            return Some(column.clone());
        }
        let image = *self.image.get(laid.inward[i][0] as usize)?;
        let other = laid.inward.iter().position(|column| column[0] == image)?;
        let twin = laid.columns[other].as_ref()?;
        Some(twin.map(|v| self.image[v as usize]))
    }

    /// Of end walls, the vertices between the walls where they begin: with those on the outer and the
    /// inner wall, and the share of the way; images too.
    pub fn end_seams(&self) -> Vec<([u32; 3], f64)> {
        let all = self.edges().flat_map(|laid| &laid.between);
        let mut seams: Vec<([u32; 3], f64)> = all.copied().collect();
        if !self.image.is_empty() {
            let image =
                |(ids, share): &([u32; 3], f64)| (ids.map(|v| self.image[v as usize]), *share);
            let images: Vec<_> = seams.iter().map(image).collect();
            seams.extend(images);
        }
        seams
    }

    /// As [`Laid::behind`] of all trims, images too.
    pub fn behind(&self) -> (Vec<[u32; 2]>, Vec<u32>) {
        let (mut pairs, mut covered) = (Vec::new(), Vec::new());
        for laid in self.edges() {
            let (more, within) = laid.behind();
            pairs.extend(more);
            covered.extend(within);
        }
        if !self.image.is_empty() {
            let image = |v: u32| self.image[v as usize];
            let images: Vec<[u32; 2]> = pairs.iter().map(|p| p.map(image)).collect();
            pairs.extend(images);
            let images: Vec<u32> = covered.iter().map(|&v| image(v)).collect();
            covered.extend(images);
        }
        pairs.sort_unstable();
        pairs.dedup();
        covered.sort_unstable();
        covered.dedup();
        (pairs, covered)
    }

    /// Pairs of vertices of which the first follows the second, images too.
    pub fn tied(&self) -> Vec<[u32; 2]> {
        let mut pairs: Vec<[u32; 2]> = self.laid.iter().flat_map(|f| self.pairs(f)).collect();
        if !self.image.is_empty() {
            let image = |v: u32| self.image.get(v as usize).copied();
            let image = |pair: &[u32; 2]| Some([image(pair[0])?, image(pair[1])?]);
            let images: Vec<[u32; 2]> = pairs.iter().filter_map(image).collect();
            pairs.extend(images);
        }
        pairs.sort_unstable();
        pairs.dedup();
        pairs
    }

    /// Positions with the walls laid anew behind cloth whose vertices are at `moved`. What didn't
    /// move keeps its bits.
    pub fn relaid(&self, moved: &[DVec3]) -> Vec<DVec3> {
        let mut positions = moved.to_vec();
        for (form, (_, walls)) in self.laid.iter().zip(&self.made) {
            let still = |&v: &u32| moved[v as usize] == self.mesh.positions[v as usize];
            if !self.bearers(form).iter().all(still) {
                match form {
                    Form::Edge(laid) => self.relay(laid, walls, &mut positions),
                    Form::Band(band) => self.relay_band(band, walls, &mut positions),
                    Form::Lap(lap) => {
                        let cloth = self.moved(&lap.laid, &positions);
                        self.lay_lap(lap, &cloth, walls, &mut positions);
                    }
                }
            }
        }
        positions
    }

    /// Puts a vertex and its image.
    pub fn put(&self, positions: &mut [DVec3], v: u32, at: DVec3) {
        match (self.plane, self.image.get(v as usize)) {
            (Some(plane), Some(&image)) if image == v => positions[v as usize] = plane.project(at),
            (Some(plane), Some(&image)) => {
                positions[v as usize] = at;
                positions[image as usize] = plane.mirror(at);
            }
            _ => positions[v as usize] = at,
        }
    }

    fn relay(&self, laid: &Laid, walls: &Walls, positions: &mut [DVec3]) {
        let cloth = self.moved(laid, positions);
        let (base, top) = (cloth.base, cloth.rows.len() - 1);
        for (i, column) in laid.columns.iter().enumerate() {
            let Some(column) = column else { continue };
            let inner = |row: usize| cloth.rows[row][i] + laid.thickness * cloth.offsets[row][i];
            for row in 0..=top {
                self.put(positions, column.inner[top - row], inner(row));
                if row > base {
                    self.put(positions, column.outer[row - base], cloth.rows[row][i]);
                }
            }
        }
        self.fit(laid, walls, positions);
        self.close(laid, &cloth, positions);
    }

    /// Fits every trim's inner wall where its cloth is so bent that it isn't parallel enough.
    pub fn fit_all(&mut self) {
        let mut positions = self.mesh.positions.clone();
        for (form, (_, walls)) in self.laid.iter().zip(&self.made) {
            match form {
                Form::Edge(laid) => {
                    if self.fit(laid, walls, &mut positions) {
                        self.close(laid, &laid.cloth, &mut positions);
                    }
                }
                Form::Band(band) => {
                    if self.fit_band(band, walls, &mut positions) {
                        self.close_band(band, &band.shape(&positions), &mut positions);
                    }
                }
                Form::Lap(lap) => self.lay_lap(lap, &lap.laid.cloth, walls, &mut positions),
            }
        }
        self.mesh.positions = positions;
    }

    /// Whether a trim's inner wall was moved to be more nearly parallel.
    fn fit(&self, laid: &Laid, walls: &Walls, positions: &mut [DVec3]) -> bool {
        let base = laid.cloth.base;
        let mesh = QuadMesh {
            positions: positions.to_vec(),
            quads: self.mesh.quads.clone(),
            groups: Vec::new(),
        };
        // Of cloth that is turned in, the surface's own last rows are the outer wall.
        let mut own = vec![false; positions.len()];
        for &v in laid.inward.iter().flat_map(|c| c.iter().take(base + 2)) {
            own[v as usize] = base > 0;
            if let Some(&image) = self.image.get(v as usize) {
                own[image as usize] = base > 0;
            }
        }
        let first = walls.inner.iter().chain(&walls.rim).min().copied();
        let quads = self.mesh.quads.iter().zip(0..first.unwrap_or(0));
        let last_rows = quads.filter(|(quad, _)| quad.iter().all(|&v| own[v as usize]));
        let mut whole = walls.clone();
        whole.outer.extend(last_rows.map(|(_, q)| q));
        let measured = thickness(&mesh, laid.thickness, &whole, (base > 0).then_some(0));
        if measured.share >= FINE {
            return false;
        }
        let mut free = vec![false; positions.len()];
        let columns = || laid.columns.iter().flatten();
        for &v in columns().flat_map(|c| &c.inner) {
            free[v as usize] = true;
            if let Some(&image) = self.image.get(v as usize) {
                free[image as usize] = true;
            }
        }
        let both = (&whole.outer[..], &walls.inner[..]);
        let fitted = fitted(&mesh, both, laid.thickness, &free);
        for &v in columns().flat_map(|c| &c.inner) {
            self.put(positions, v, fitted[v as usize]);
        }
        true
    }

    /// Lays rim and end walls between the walls.
    fn close(&self, laid: &Laid, cloth: &Cloth, positions: &mut [DVec3]) {
        for (i, column) in laid.columns.iter().enumerate() {
            let Some(column) = column else { continue };
            let (Some(&outer), Some(&inner)) = (column.outer.last(), column.inner.first()) else {
                continue;
            };
            let [outer, inner] = [outer, inner].map(|v| positions[v as usize]);
            let rim = laid.profile.rim_between(outer, inner, cloth.out[i]);
            for (&v, at) in column.rim.iter().zip(rim) {
                self.put(positions, v, at);
            }
        }
        self.lay_between(&laid.between, positions);
    }

    /// Puts vertices of end walls between those of the outer and the inner wall.
    pub fn lay_between(&self, between: &[([u32; 3], f64)], positions: &mut [DVec3]) {
        for ([v, outer, inner], share) in between {
            let at = positions[*outer as usize].lerp(positions[*inner as usize], *share);
            positions[*v as usize] = at;
            if let (Some(plane), Some(&image)) = (self.plane, self.image.get(*v as usize)) {
                positions[image as usize] = plane.mirror(at);
            }
        }
    }

    /// The cloth of a trim, whose outer wall's vertices have moved.
    fn moved(&self, laid: &Laid, positions: &[DVec3]) -> Cloth {
        let base = laid.cloth.base;
        let at = |v: u32| positions[v as usize];
        let first = |i: usize| laid.inward[i][0];
        // What isn't built on the kept side is the image of what is.
        let columns: Vec<Option<Column>> = (0..laid.inward.len())
            .map(|i| self.column_at(laid, i))
            .collect();
        let place = |row: usize, i: usize| {
            let column = &laid.inward[i];
            if row == 0 && base > 0 {
                return at(column[base - 1]).lerp(at(column[base]), laid.cloth.cut);
            }
            if row <= base {
                return at(column[base - row]);
            }
            // In a gap there is nothing: as the opening there moves.
            let by = || at(first(i)) - self.mesh.positions[first(i) as usize];
            let built = columns[i]
                .as_ref()
                .map(|column| at(column.outer[row - base]));
            built.unwrap_or_else(|| laid.cloth.rows[row][i] + by())
        };
        let n = laid.inward.len();
        let last = if base > 0 {
            base
        } else {
            laid.cloth.rows.len() - 1
        };
        let row = |row: usize| (0..n).map(|i| place(row, i)).collect();
        let rows = (0..=last).map(row).collect();
        let way = |i: usize| match laid.inward[i].get(1) {
            Some(&next) => (at(first(i)) - at(next)).normalize_or(laid.cloth.out[i]),
            None => laid.cloth.out[i],
        };
        let ways: Vec<DVec3> = (0..n).map(way).collect();
        laid.cloth.moved(rows, &ways, &laid.profile, laid.closed)
    }
}
