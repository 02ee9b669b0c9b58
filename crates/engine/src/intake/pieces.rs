//! Pieces of the surface: consistent winding, which way is out, which pieces stay.

use mesh::DVec3;

use super::shell::{NONE, Shell, next, previous};

/// What hangs together through edges.
#[derive(Clone, Debug)]
pub(super) struct Piece {
    /// Number of triangles.
    pub triangles: usize,
    /// Area, square model units.
    pub area: f64,
    /// Triangles that were turned around.
    pub turned: usize,
    /// Whether it has no boundary.
    pub closed: bool,
    /// A point on it.
    pub at: DVec3,
}

/// Pieces and what was found while winding them.
pub(super) struct Pieces {
    /// Piece of each living triangle.
    pub of: Vec<u32>,
    pub list: Vec<Piece>,
    /// Edges of one-sided pieces that were cut open.
    pub twists: Vec<DVec3>,
    /// First few triangles that were turned, with their piece.
    pub turned_at: Vec<(u32, DVec3)>,
}

/// Winds each piece consistently: closed ones outward, open ones as most of their
/// triangles were. One-sided pieces (as a Möbius strip) are cut where it can't be done.
pub(super) fn orient(shell: &mut Shell) -> Pieces {
    let mut walk = Walk {
        of: vec![NONE; shell.triangles.len()],
        turn: vec![false; shell.triangles.len()],
        members: Vec::new(),
    };
    let mut pieces = Pieces {
        of: Vec::new(),
        list: Vec::new(),
        twists: Vec::new(),
        turned_at: Vec::new(),
    };
    for t in 0..shell.triangles.len() {
        if shell.dead[t] || walk.of[t] != NONE {
            continue;
        }
        let id = pieces.list.len() as u32;
        walk.spread(shell, t, id, &mut pieces.twists);
        let mut piece = walk.measure(shell);
        if walk.is_backward(shell, &piece) {
            for &m in &walk.members {
                walk.turn[m as usize] ^= true;
            }
            piece.turned = piece.triangles - piece.turned;
        }
        let turned = walk.members.iter().filter(|&&m| walk.turn[m as usize]);
        let places = turned.map(|&m| (id, shell.centre(m as usize)));
        pieces.turned_at.extend(places.take(5));
        pieces.list.push(piece);
    }
    turn_around(shell, &walk.turn);
    pieces.of = walk.of;
    pieces
}

struct Walk {
    of: Vec<u32>,
    turn: Vec<bool>,
    /// Triangles of the piece at hand.
    members: Vec<u32>,
}

impl Walk {
    /// Reaches the whole piece from one triangle, deciding who must turn to agree with it.
    fn spread(&mut self, shell: &mut Shell, start: usize, id: u32, twists: &mut Vec<DVec3>) {
        self.members.clear();
        self.members.push(start as u32);
        self.of[start] = id;
        let mut done = 0;
        while let Some(&t) = self.members.get(done) {
            done += 1;
            for h in 3 * t..3 * t + 3 {
                let across = shell.twin[h as usize];
                if across == NONE {
                    continue;
                }
                let n = across as usize / 3;
                let same_way = shell.from(h) == shell.from(across);
                let turn = self.turn[t as usize] ^ same_way;
                if self.of[n] == NONE {
                    self.of[n] = id;
                    self.turn[n] = turn;
                    self.members.push(n as u32);
                } else if self.turn[n] != turn {
                    twists.push((shell.point(shell.from(h)) + shell.point(shell.to(h))) / 2.0);
                    shell.tie(across, NONE);
                    shell.twin[h as usize] = NONE;
                }
            }
        }
    }

    fn measure(&self, shell: &Shell) -> Piece {
        let halves = |t: u32| 3 * t as usize..3 * t as usize + 3;
        Piece {
            triangles: self.members.len(),
            area: self.members.iter().map(|&t| shell.area(t as usize)).sum(),
            turned: self
                .members
                .iter()
                .filter(|&&t| self.turn[t as usize])
                .count(),
            closed: self
                .members
                .iter()
                .all(|&t| shell.twin[halves(t)].iter().all(|&h| h != NONE)),
            at: shell.centre(self.members[0] as usize),
        }
    }

    /// Whether the winding found so far is the wrong one of the two.
    fn is_backward(&self, shell: &Shell, piece: &Piece) -> bool {
        if !piece.closed {
            return 2 * piece.turned > piece.triangles;
        }
        // Six times the volume, from a point of the piece to keep rounding small.
        let volume = |&t: &u32| {
            let [a, b, c] = shell.corners(t as usize).map(|p| p - piece.at);
            let signed = a.dot(b.cross(c));
            if self.turn[t as usize] {
                -signed
            } else {
                signed
            }
        };
        self.members.iter().map(volume).sum::<f64>() < 0.0
    }
}

/// Swaps two corners of each marked triangle and carries the twins along.
fn turn_around(shell: &mut Shell, turn: &[bool]) {
    // Turned, the triangle's half-edges 0, 1, 2 become 2, 1, 0.
    let moved = |h: u32| {
        if h != NONE && turn[h as usize / 3] {
            h - h % 3 + (2 - h % 3)
        } else {
            h
        }
    };
    for h in &mut shell.twin {
        *h = moved(*h);
    }
    for t in (0..turn.len()).filter(|&t| turn[t]) {
        shell.triangles[t].swap(1, 2);
        shell.twin.swap(3 * t, 3 * t + 2);
    }
}

/// Gives each fan of triangles at a vertex a vertex of its own.
/// Returns how many vertices had several fans, and where the first few are.
pub(super) fn part_fans(shell: &mut Shell) -> (usize, Vec<DVec3>) {
    let mut seen = vec![false; shell.twin.len()];
    let mut has_fan = vec![false; shell.positions.len()];
    let mut parted: Vec<u32> = Vec::new();
    for t in 0..shell.triangles.len() {
        if shell.dead[t] {
            continue;
        }
        for h in 3 * t as u32..3 * t as u32 + 3 {
            if seen[h as usize] {
                continue;
            }
            let v = shell.from(h);
            let mut name = v;
            if std::mem::replace(&mut has_fan[v as usize], true) {
                name = shell.positions.len() as u32;
                let copy = shell.positions[v as usize];
                shell.positions.push(copy);
                has_fan.push(true);
                parted.push(v);
            }
            name_fan(shell, h, name, &mut seen);
        }
    }
    parted.sort_unstable();
    parted.dedup();
    let places = parted.iter().take(5).map(|&v| shell.point(v)).collect();
    (parted.len(), places)
}

fn name_fan(shell: &mut Shell, start: u32, name: u32, seen: &mut [bool]) {
    let mut at = start;
    loop {
        seen[at as usize] = true;
        shell.triangles[at as usize / 3][at as usize % 3] = name;
        at = shell.twin[previous(at) as usize];
        if at == start {
            return;
        }
        if at == NONE {
            break;
        }
    }
    at = start;
    loop {
        let across = shell.twin[at as usize];
        if across == NONE {
            return;
        }
        at = next(across);
        seen[at as usize] = true;
        shell.triangles[at as usize / 3][at as usize % 3] = name;
    }
}
