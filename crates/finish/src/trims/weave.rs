//! From the cloth of trims to quads on the surface.

use std::collections::BTreeMap;

use base::Task;
use engine::model::Plane;
use mesh::{DVec3, Group, QuadMesh, QuadTopology};

use super::cloth::{Cloth, Run};
use super::lap::{Coming, Overlap};
use super::profile::Profile;
use super::relay::{Column, Form, Laid};
use super::{Placed, Side, Trim, TrimError, TrimInput, parallel};

/// What is this near the plane lies on it, as a share of the surface's reach: rounding, no more.
const ON_PLANE: f64 = 1e-12;

/// A surface with trims on it.
#[derive(Clone, Debug)]
pub(super) struct Woven {
    pub mesh: QuadMesh,
    /// Of each trim that isn't another one's image, its number and its quads.
    pub made: Vec<(usize, Walls)>,
    /// How their vertices follow from their cloth.
    pub laid: Vec<Form>,
    pub plane: Option<Plane>,
    /// The mirror image of each vertex; empty without a plane. Those of laps across the plane, which
    /// come last, have none.
    pub image: Vec<u32>,
    /// Quads of laps across the plane, rising.
    pub unpaired: Vec<u32>,
    /// Trims whose images have a name of their own, and that.
    pub renamed: Vec<(usize, String)>,
}

/// Vertices between two others: those with them, and their share of the way from the first.
pub(super) type Between = Vec<([u32; 3], f64)>;

/// Quads of one trim.
#[derive(Clone, Debug, Default)]
pub(crate) struct Walls {
    pub outer: Vec<u32>,
    pub inner: Vec<u32>,
    pub rim: Vec<u32>,
    /// Rows beyond the opening, and how many of them lie on the sculpt.
    pub followed: [usize; 2],
}

/// What of an opening is taken, by edge: the trim, and whether it is its image that is there.
type Taken = BTreeMap<[u32; 2], (usize, bool)>;

/// Weaves all trims, whatever they pass through; bands are eased by so many rounds each.
pub(super) fn unchecked(
    input: &TrimInput<'_>,
    trims: &[Placed],
    eased: &[u32],
    task: &Task,
) -> Result<Woven, TrimError> {
    let topology = input.surface.topology();
    let mut woven = Woven {
        mesh: input.surface.clone(),
        made: Vec::new(),
        laid: Vec::new(),
        plane: input.plane,
        image: images(input.surface, input.plane),
        unpaired: Vec::new(),
        renamed: Vec::new(),
    };
    if woven.image.is_empty() {
        woven.plane = None;
    }
    let mut taken = Taken::new();
    let mut laps = Vec::new();
    for (number, placed) in trims.iter().enumerate() {
        task.checkpoint()?;
        let placed = oriented(&topology, input.surface, placed)?;
        if let Some(other) = woven.claim(&mut taken, trims, number, &placed)? {
            woven.rename_image(other, &placed.trim.name);
            continue;
        }
        match placed.trim.side {
            Side::Upon => woven.weave_band(input, &topology, number, &placed, eased[number])?,
            _ => laps.extend(woven.weave(input, &topology, number, &placed)?),
        }
    }
    // Those without an image last: each vertex before them has one.
    laps.sort_by_key(|lap: &Coming| lap.overlap.is_alone);
    for lap in laps {
        let name = &trims[lap.number].trim.name;
        woven.weave_lap(lap, name);
    }
    woven.fit_all();
    Ok(woven)
}

/// For each vertex the one at its exact mirror image; empty if any has none.
pub(crate) fn images(surface: &QuadMesh, plane: Option<Plane>) -> Vec<u32> {
    let Some(plane) = plane else {
        return Vec::new();
    };
    // Adding nought makes −0 and 0 one.
    let bits = |p: DVec3| p.to_array().map(|c| (c + 0.0).to_bits());
    let positions = &surface.positions;
    let known: BTreeMap<[u64; 3], u32> = positions.iter().map(|p| bits(*p)).zip(0..).collect();
    let reach = positions
        .iter()
        .map(|p| p.distance(plane.origin))
        .fold(0.0, f64::max);
    let mut images: Vec<Option<u32>> = vec![None; positions.len()];
    for (v, &p) in (0..).zip(positions) {
        let height = plane.height(p);
        if height.abs() <= ON_PLANE * reach {
            images[v as usize] = Some(v);
        } else if height > 0.0
            && let Some(&other) = known.get(&bits(plane.mirror(p)))
        {
            // Of a slanted plane only the kept side's images are exact to the bit.
            images[v as usize] = Some(other);
            images[other as usize] = Some(v);
        }
    }
    images
        .into_iter()
        .collect::<Option<Vec<u32>>>()
        .unwrap_or_default()
}

/// The run with the surface on its left.
fn oriented(
    topology: &QuadTopology,
    surface: &QuadMesh,
    placed: &Placed,
) -> Result<Placed, TrimError> {
    let trim = &placed.trim;
    checked_numbers(trim)?;
    let no_run = || TrimError::NoRun {
        trim: trim.name.clone(),
        guide: trim.guide.clone(),
    };
    let n = placed.run.len();
    if n < if placed.closed { 3 } else { 2 } {
        return Err(no_run());
    }
    for (i, j) in mesh::runs::pieces(n, placed.closed) {
        let edge = topology.edge_between(placed.run[i], placed.run[j]);
        let edge = edge.ok_or_else(no_run)?;
        let ends = topology.face_count[edge as usize] == 1;
        if ends == (trim.side == Side::Upon) {
            let (trim, guide) = (trim.name.clone(), trim.guide.clone());
            let at = surface.positions[placed.run[i] as usize].to_array();
            return Err(match ends {
                true => TrimError::AtAnEnd { trim, guide, at },
                false => TrimError::NotAnOpening { trim, guide, at },
            });
        }
    }
    let (a, b) = (placed.run[0], placed.run[1]);
    let runs = |q: &[u32; 4]| (0..4).any(|i| q[i] == a && q[(i + 1) % 4] == b);
    let mut placed = placed.clone();
    if !surface.quads.iter().any(runs) {
        placed.run.reverse();
    }
    Ok(placed)
}

fn checked_numbers(trim: &Trim) -> Result<(), TrimError> {
    let above = |v: f64| v.is_finite() && v > 0.0;
    let bad = |what, value, range| {
        Err(TrimError::Number {
            trim: trim.name.clone(),
            what,
            value,
            range,
        })
    };
    if !above(trim.height) {
        return bad("height", trim.height, "above 0");
    }
    if !above(trim.thickness) {
        return bad("thickness", trim.thickness, "above 0");
    }
    if trim.flare_deg.is_nan() || trim.flare_deg.abs() > 80.0 {
        return bad("flare", trim.flare_deg, "from -80 to 80 degrees");
    }
    Ok(())
}

/// Where an end wall goes.
struct Cap<'a> {
    cloth: &'a Cloth,
    run: &'a Run<'a>,
    i: usize,
    column: &'a Column,
    /// Whether it looks the way that the run goes.
    turned: bool,
}

impl Woven {
    /// The trim that a quad belongs to.
    pub fn trim_of(&self, quad: u32) -> Option<usize> {
        let has = |w: &Walls| {
            [&w.outer, &w.inner, &w.rim]
                .iter()
                .any(|l| l.contains(&quad))
        };
        let found = self.made.iter().find(|(_, walls)| has(walls));
        found.map(|(number, _)| *number)
    }

    /// Claims the edges of a run and of its image; answers the earlier trim whose image it is.
    fn claim(
        &self,
        taken: &mut Taken,
        trims: &[Placed],
        number: usize,
        placed: &Placed,
    ) -> Result<Option<usize>, TrimError> {
        let key = |a: u32, b: u32| [a.min(b), a.max(b)];
        let pieces: Vec<[u32; 2]> = mesh::runs::pieces(placed.run.len(), placed.closed)
            .map(|(i, j)| key(placed.run[i], placed.run[j]))
            .collect();
        let found: Vec<(usize, bool)> = pieces
            .iter()
            .filter_map(|e| taken.get(e).copied())
            .collect();
        if let Some(&(other, is_image)) = found.first() {
            let alike = Trim {
                name: placed.trim.name.clone(),
                guide: placed.trim.guide.clone(),
                ..trims[other].trim.clone()
            };
            let same = found.len() == pieces.len() && found.iter().all(|f| f.0 == other);
            if is_image && same && alike == placed.trim {
                return Ok(Some(other));
            }
            return Err(TrimError::Twice {
                trim: placed.trim.name.clone(),
                other: trims[other].trim.name.clone(),
            });
        }
        for edge in &pieces {
            if let [Some(&a), Some(&b)] = edge.map(|v| self.image.get(v as usize)) {
                taken.insert(key(a, b), (number, true));
            }
        }
        // A run across the plane is its own image: what is its own stands above that.
        taken.extend(pieces.into_iter().map(|edge| (edge, (number, false))));
        Ok(None)
    }

    /// A name for a trim's group that no other group has.
    pub fn group_name(&self, name: &str) -> String {
        let mut plain = Group::word(name);
        while self.mesh.groups.iter().any(|g| g.name == plain) {
            plain.push_str("_trim");
        }
        plain
    }

    /// Gives the image of an earlier trim a group of its own.
    fn rename_image(&mut self, other: usize, name: &str) {
        let name = self.group_name(name);
        let Some(at) = self.made.iter().position(|(number, _)| *number == other) else {
            return;
        };
        let walls = &self.made[at].1;
        let all = [&walls.outer, &walls.inner, &walls.rim];
        let of_image = |q: &u32| {
            let quad = self.mesh.quads[*q as usize];
            let middle: DVec3 = quad.iter().map(|&v| self.mesh.positions[v as usize]).sum();
            let first = self.mesh.quads[walls
                .outer
                .first()
                .or(walls.rim.first())
                .copied()
                .unwrap_or(*q) as usize];
            let start: DVec3 = first.iter().map(|&v| self.mesh.positions[v as usize]).sum();
            self.plane
                .is_some_and(|p| (p.height(middle / 4.0) < 0.0) != (p.height(start / 4.0) < 0.0))
        };
        let mut quads: Vec<u32> = all
            .into_iter()
            .flatten()
            .copied()
            .filter(of_image)
            .collect();
        quads.sort_unstable();
        for group in &mut self.mesh.groups {
            group.quads.retain(|q| quads.binary_search(q).is_err());
        }
        self.renamed.push((other, name.clone()));
        self.mesh.groups.push(Group { name, quads });
    }

    /// Weaves a trim at an opening; answers the lap that is to come at its front, if it overlaps.
    fn weave(
        &mut self,
        input: &TrimInput<'_>,
        topology: &QuadTopology,
        number: usize,
        placed: &Placed,
    ) -> Result<Option<Coming>, TrimError> {
        let trim = &placed.trim;
        let run = Run::new(input, topology, placed);
        let profile = Profile::new(trim);
        let cloth = Cloth::new(input, &run, &profile)?;
        let (radius, at) = cloth.tightest();
        if trim.thickness > parallel::SHARE * radius {
            return Err(TrimError::TooThick {
                trim: trim.name.clone(),
                thickness: trim.thickness,
                radius,
                most: parallel::SHARE * radius,
                at: at.to_array(),
            });
        }
        let built = self.built(placed, &run.at)?;
        let overlap = Overlap::of(placed, &built, &run.at, &self.image)?;
        let posts = overlap
            .as_ref()
            .map(|o| o.posts(placed, &cloth))
            .transpose()?;
        let first = self.mesh.quads.len() as u32;
        let n = placed.run.len();
        let columns: Vec<Option<Column>> = (0..n)
            .map(|i| {
                let here = built.is_here(i);
                here.then(|| self.column(placed, &cloth, &profile, i, built.on_plane[i]))
            })
            .collect();
        let mut walls = Walls {
            followed: [profile.heights.len(), cloth.followed],
            ..Walls::default()
        };
        for (i, j) in mesh::runs::pieces(n, placed.closed) {
            let (Some(here), Some(there)) = (&columns[i], &columns[j]) else {
                continue;
            };
            let (one, two) = (here.profile(), there.profile());
            let flat = built.on_plane[i] && built.on_plane[j];
            for p in 0..one.len() - 1 {
                let quad = [two[p], one[p], one[p + 1], two[p + 1]];
                let wall = if p + 1 < here.outer.len() {
                    &mut walls.outer
                } else if p >= here.outer.len() + here.rim.len() {
                    &mut walls.inner
                } else {
                    &mut walls.rim
                };
                wall.extend(self.quad(quad, !flat));
            }
        }
        let mut between = Vec::new();
        for (i, turned) in built.open_ends(placed.closed) {
            // On the plane the image goes on.
            if let Some(column) = columns[i].as_ref().filter(|_| !built.on_plane[i]) {
                // A lap goes on here, and closes the other end if that is this one's image.
                let goes_on = |lap: &Overlap| lap.is_alone || lap.ends[0] == i;
                if built.is_at_gap((i, turned)) && overlap.as_ref().is_some_and(goes_on) {
                    between.extend(self.seam(column));
                    continue;
                }
                let cap = Cap {
                    cloth: &cloth,
                    run: &run,
                    i,
                    column,
                    turned,
                };
                between.extend(self.cap(&cap, topology, &mut walls));
            }
        }
        let name = self.group_name(&trim.name);
        let quads = (first..self.mesh.quads.len() as u32).collect();
        self.mesh.groups.push(Group { name, quads });
        self.made.push((number, walls));
        let laid = Laid {
            thickness: trim.thickness,
            profile,
            inward: run.inward,
            closed: placed.closed,
            cloth,
            columns,
            between,
        };
        self.laid.push(Form::Edge(laid.clone()));
        Ok(overlap.zip(posts).map(|(overlap, posts)| Coming {
            number,
            laid,
            overlap,
            posts,
        }))
    }

    fn column(
        &mut self,
        placed: &Placed,
        cloth: &Cloth,
        profile: &Profile,
        i: usize,
        on_plane: bool,
    ) -> Column {
        let top = cloth.rows.len() - 1;
        let inner_at = |r: usize| cloth.rows[r][i] + placed.trim.thickness * cloth.offsets[r][i];
        let mut outer = vec![placed.run[i]];
        for r in cloth.base + 1..=top {
            outer.push(self.vertex(cloth.rows[r][i], on_plane));
        }
        let rim = profile.rim_between(cloth.rows[top][i], inner_at(top), cloth.out[i]);
        let rim = rim.into_iter().map(|p| self.vertex(p, on_plane)).collect();
        let inner = (0..=top).rev().map(|r| self.vertex(inner_at(r), on_plane));
        Column {
            outer,
            rim,
            inner: inner.collect(),
        }
    }

    /// An end wall: cloth is closed where the run ends. Its corners are held as the rim's are.
    /// Answers its vertices between the walls with those on the walls and the share between.
    fn cap(&mut self, cap: &Cap<'_>, topology: &QuadTopology, walls: &mut Walls) -> Between {
        let (cloth, column) = (cap.cloth, cap.column);
        let mut outer: Vec<u32> = Vec::new();
        // Within, an end wall closes cloth where the surface itself ends, else it would part it.
        let within = &cap.run.inward[cap.i];
        let ends = |k: usize| {
            let edge = topology.edge_between(within[k], within[k - 1]);
            edge.is_some_and(|e| topology.face_count[e as usize] == 1)
        };
        let mut first = cloth.base;
        while first > 1 && cloth.base + 1 - first < within.len() && ends(cloth.base + 1 - first) {
            first -= 1;
            outer.insert(0, within[cloth.base - first]);
        }
        outer.extend(&column.outer);
        let inner: Vec<u32> = column.inner.iter().rev().skip(first).copied().collect();
        let shares = self.shares(column.edges(), &column.rim);
        let bottom = self.between([outer[0], inner[0]], &shares, false);
        let line = bottom.iter().map(|(ids, _)| ids[0]).collect();
        let sides = [&outer[..], &inner[..]];
        let (quads, between) = self.end_wall(sides, [line, column.rim.clone()], cap.turned, false);
        walls.rim.extend(quads);
        bottom.into_iter().chain(between).collect()
    }

    /// Vertices at the opening between the ends of a column's walls.
    pub fn seam(&mut self, column: &Column) -> Between {
        let shares = self.shares(column.edges(), &column.rim);
        let inner = column.inner[column.inner.len() - 1];
        self.between([column.outer[0], inner], &shares, false)
    }

    /// Shares of the way from the outer to the inner wall at which a rim between their edges has
    /// vertices.
    pub fn shares(&self, [outer, inner]: [u32; 2], rim: &[u32]) -> Vec<f64> {
        let at = |v: u32| self.mesh.positions[v as usize];
        let way = at(inner) - at(outer);
        let share = |(q, &v): (usize, &u32)| {
            let share = (at(v) - at(outer)).dot(way) / way.length_squared();
            let even = (q + 1) as f64 / (rim.len() + 1) as f64;
            if share.is_finite() { share } else { even }
        };
        rim.iter().enumerate().map(share).collect()
    }

    /// New vertices between two others; without images if they are `alone`.
    pub fn between(&mut self, ends: [u32; 2], shares: &[f64], alone: bool) -> Between {
        let [from, to] = ends.map(|v| self.mesh.positions[v as usize]);
        let vertex = |&share: &f64| {
            let at = from.lerp(to, share);
            let v = match alone {
                true => self.lone_vertex(at),
                false => self.vertex(at, false),
            };
            ([v, ends[0], ends[1]], share)
        };
        shares.iter().map(vertex).collect()
    }

    /// Quads from an outer to an inner wall, both from the opening up, between vertices at their
    /// `ends`, below and above; and the vertices that it has within.
    pub fn end_wall(
        &mut self,
        [outer, inner]: [&[u32]; 2],
        [bottom, rim]: [Vec<u32>; 2],
        turned: bool,
        alone: bool,
    ) -> (Vec<u32>, Between) {
        let last = outer.len() - 1;
        let steps = rim.len() + 1;
        let shares = self.shares([outer[last], inner[last]], &rim);
        let mut between = Between::new();
        let mut grid: Vec<Vec<u32>> = Vec::new();
        for k in 0..=last {
            let middle: Vec<u32> = match k {
                0 => bottom.clone(),
                k if k == last => rim.clone(),
                k => {
                    let made = self.between([outer[k], inner[k]], &shares, alone);
                    let ids = made.iter().map(|(ids, _)| ids[0]).collect();
                    between.extend(made);
                    ids
                }
            };
            let row = [outer[k]].into_iter().chain(middle).chain([inner[k]]);
            grid.push(row.collect());
        }
        let mut quads = Vec::new();
        for pair in grid.windows(2) {
            for q in 0..steps {
                let [a, b, c, d] = [pair[1][q], pair[0][q], pair[0][q + 1], pair[1][q + 1]];
                let quad = if turned { [a, d, c, b] } else { [a, b, c, d] };
                quads.extend(self.quad(quad, !alone));
            }
        }
        (quads, between)
    }

    /// A new vertex without an image: none with one may come after it.
    pub fn lone_vertex(&mut self, at: DVec3) -> u32 {
        self.mesh.positions.push(at);
        self.mesh.positions.len() as u32 - 1
    }

    /// A new vertex, and its image where there is one.
    pub fn vertex(&mut self, at: DVec3, on_plane: bool) -> u32 {
        let id = self.mesh.positions.len() as u32;
        match self.plane {
            None => self.mesh.positions.push(at),
            Some(plane) if on_plane => {
                self.mesh.positions.push(plane.project(at));
                self.image.push(id);
            }
            Some(plane) => {
                self.mesh.positions.extend([at, plane.mirror(at)]);
                self.image.extend([id + 1, id]);
            }
        }
        id
    }

    /// A new quad, and its image where there is one.
    pub fn quad(&mut self, quad: [u32; 4], imaged: bool) -> Vec<u32> {
        let id = self.mesh.quads.len() as u32;
        self.mesh.quads.push(quad);
        if self.plane.is_none() || !imaged {
            return vec![id];
        }
        let [a, b, c, d] = quad.map(|v| self.image[v as usize]);
        self.mesh.quads.push([a, d, c, b]);
        vec![id, id + 1]
    }
}

/// Whether a trim's outer wall is the surface's own.
pub(super) fn is_within(trim: &Trim) -> bool {
    trim.side == Side::Within
}
