//! From the cloth of trims to quads on the surface.

use std::collections::BTreeMap;

use base::Task;
use engine::check;
use engine::model::Plane;
use mesh::{DVec3, Group, QuadMesh, QuadTopology};

use super::cloth::{Cloth, Run};
use super::profile::Profile;
use super::relay::{Column, Form, Laid};
use super::{Front, Placed, Side, Trim, TrimError, TrimInput, parallel};

/// Tries at a lesser thickness where cloth would pass through something.
const TRIES: u32 = 8;

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
    /// The mirror image of each vertex; empty without a plane.
    pub image: Vec<u32>,
}

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

/// Weaves all trims.
pub(super) fn all(
    input: &TrimInput<'_>,
    trims: &[Placed],
    task: &Task,
) -> Result<Woven, TrimError> {
    let woven = unchecked(input, trims, task)?;
    let own = input.surface.quads.len() as u32;
    let crossing = |woven: &Woven| -> Result<Option<[u32; 2]>, TrimError> {
        let pairs = check::crossings(&woven.mesh)?;
        Ok(pairs
            .into_iter()
            .find(|pair| pair.iter().any(|&q| q >= own)))
    };
    let Some(pair) = crossing(&woven)? else {
        return Ok(woven);
    };
    let [one, two] = [pair[0].max(pair[1]), pair[0].min(pair[1])];
    let at = woven.mesh.centre(one as usize);
    let Some(guilty) = woven.trim_of(one) else {
        return Ok(woven);
    };
    let what = match woven.trim_of(two) {
        None => "the surface".to_owned(),
        Some(other) if other == guilty => "itself".to_owned(),
        Some(other) => format!("trim '{}'", trims[other].trim.name),
    };
    let mut most = None;
    for k in (1..TRIES).rev() {
        let mut thinner = trims.to_vec();
        thinner[guilty].trim.thickness *= f64::from(k) / f64::from(TRIES);
        if crossing(&unchecked(input, &thinner, task)?)?.is_none() {
            most = Some(thinner[guilty].trim.thickness);
            break;
        }
    }
    Err(TrimError::Crosses {
        trim: trims[guilty].trim.name.clone(),
        what,
        at: at.to_array(),
        most,
    })
}

/// Weaves all trims, whatever they pass through.
fn unchecked(input: &TrimInput<'_>, trims: &[Placed], task: &Task) -> Result<Woven, TrimError> {
    let topology = input.surface.topology();
    let mut woven = Woven {
        mesh: input.surface.clone(),
        made: Vec::new(),
        laid: Vec::new(),
        plane: input.plane,
        image: images(input.surface, input.plane),
    };
    if woven.image.is_empty() {
        woven.plane = None;
    }
    let mut taken = Taken::new();
    for (number, placed) in trims.iter().enumerate() {
        task.checkpoint()?;
        let placed = oriented(&topology, input.surface, placed)?;
        if let Some(other) = woven.claim(&mut taken, trims, number, &placed)? {
            woven.rename_image(other, &placed.trim.name);
            continue;
        }
        match placed.trim.side {
            Side::Upon => woven.weave_band(input, &topology, number, &placed)?,
            _ => woven.weave(input, &topology, number, &placed)?,
        }
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

/// Which columns of a run are built on the side that is kept, and which lie on the plane.
pub(super) struct Built {
    present: Vec<bool>,
    kept: Vec<bool>,
    pub on_plane: Vec<bool>,
}

impl Built {
    /// Whether a column is built.
    pub fn is_here(&self, i: usize) -> bool {
        self.present[i] && (self.kept[i] || self.on_plane[i])
    }

    /// Built columns at which the run ends, and whether the end looks the way that the run goes.
    pub fn open_ends(&self, closed: bool) -> Vec<(usize, bool)> {
        let n = self.present.len();
        let mut ends = Vec::new();
        for i in (0..n).filter(|&i| self.is_here(i)) {
            let (before, after) = match closed {
                true => (Some((i + n - 1) % n), Some((i + 1) % n)),
                false => (i.checked_sub(1), Some(i + 1).filter(|&k| k < n)),
            };
            for (neighbour, turned) in [(before, false), (after, true)] {
                if !neighbour.is_some_and(|k| self.present[k]) {
                    ends.push((i, turned));
                }
            }
        }
        ends
    }
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
        self.mesh.groups.push(Group { name, quads });
    }

    fn weave(
        &mut self,
        input: &TrimInput<'_>,
        topology: &QuadTopology,
        number: usize,
        placed: &Placed,
    ) -> Result<(), TrimError> {
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
        self.laid.push(Form::Edge(Laid {
            thickness: trim.thickness,
            profile,
            inward: run.inward,
            closed: placed.closed,
            cloth,
            columns,
            between,
        }));
        Ok(())
    }

    /// What of a run is built.
    pub fn built(&self, placed: &Placed, at: &[DVec3]) -> Result<Built, TrimError> {
        let n = placed.run.len();
        let on_plane: Vec<bool> = placed
            .run
            .iter()
            .map(|&v| self.image.get(v as usize) == Some(&v))
            .collect();
        let side = |i: usize| match self.plane {
            Some(plane) if !on_plane[i] => plane.height(at[i]),
            Some(_) => 0.0,
            None => 1.0,
        };
        let above = (0..n).any(|i| side(i) > 0.0);
        let kept = (0..n)
            .map(|i| (side(i) > 0.0) == above && side(i) != 0.0)
            .collect();
        let mut present = vec![true; n];
        if let Front::Gap {
            width,
            at: front_at,
        } = placed.trim.front
        {
            let front = front(placed, at, &on_plane, front_at)?;
            present[front] = false;
            for step in [1, n - 1] {
                let (mut gone, mut here) = (0.0, front);
                loop {
                    let next = (here + step) % n;
                    let leaves = !placed.closed && next.abs_diff(here) != 1;
                    gone += at[here].distance(at[next]);
                    if leaves || next == front || gone > width / 2.0 {
                        break;
                    }
                    present[next] = false;
                    here = next;
                }
            }
            let any = mesh::runs::pieces(n, placed.closed).any(|(i, j)| present[i] && present[j]);
            if !any {
                return Err(TrimError::AllGap {
                    trim: placed.trim.name.clone(),
                    width,
                });
            }
        }
        Ok(Built {
            present,
            kept,
            on_plane,
        })
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
    fn cap(
        &mut self,
        cap: &Cap<'_>,
        topology: &QuadTopology,
        walls: &mut Walls,
    ) -> Vec<([u32; 3], f64)> {
        let (cloth, column) = (cap.cloth, cap.column);
        let mut between = Vec::new();
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
        let mut inner: Vec<u32> = column.inner.iter().rev().skip(first).copied().collect();
        inner.truncate(outer.len());
        let steps = column.rim.len() + 1;
        let last = outer.len() - 1;
        let mut grid: Vec<Vec<u32>> = Vec::new();
        for k in 0..=last {
            let mut row = vec![outer[k]];
            if k == last {
                row.extend(&column.rim);
            } else {
                let [from, to] = [outer[k], inner[k]].map(|v| self.mesh.positions[v as usize]);
                let [top_from, top_to] =
                    [outer[last], inner[last]].map(|v| self.mesh.positions[v as usize]);
                for q in 0..column.rim.len() {
                    let at = self.mesh.positions[column.rim[q] as usize];
                    let way = top_to - top_from;
                    let share = (at - top_from).dot(way) / way.length_squared();
                    let share = if share.is_finite() {
                        share
                    } else {
                        (q + 1) as f64 / steps as f64
                    };
                    let v = self.vertex(from.lerp(to, share), false);
                    between.push(([v, outer[k], inner[k]], share));
                    row.push(v);
                }
            }
            row.push(inner[k]);
            grid.push(row);
        }
        for k in 0..last {
            for q in 0..steps {
                let quad = [
                    grid[k + 1][q],
                    grid[k][q],
                    grid[k][q + 1],
                    grid[k + 1][q + 1],
                ];
                let [a, b, c, d] = quad;
                let quad = if cap.turned { [a, d, c, b] } else { quad };
                walls.rim.extend(self.quad(quad, true));
            }
        }
        between
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

/// The vertex of a run that faces front.
fn front(
    placed: &Placed,
    run: &[DVec3],
    on_plane: &[bool],
    at: Option<DVec3>,
) -> Result<usize, TrimError> {
    let crosses = on_plane.contains(&true);
    let candidates: Vec<usize> = (0..run.len())
        .filter(|&i| !crosses || on_plane[i])
        .collect();
    let best = |value: &dyn Fn(usize) -> f64| {
        let better = |a: usize, b: usize| if value(b) > value(a) { b } else { a };
        candidates.iter().copied().reduce(better)
    };
    let found = match at {
        Some(at) => best(&|i| -run[i].distance(at)),
        None if crosses => best(&|i| run[i].z),
        None => None,
    };
    found.ok_or_else(|| TrimError::NoFront {
        trim: placed.trim.name.clone(),
    })
}

/// Whether a trim's outer wall is the surface's own.
pub(super) fn is_within(trim: &Trim) -> bool {
    trim.side == Side::Within
}
