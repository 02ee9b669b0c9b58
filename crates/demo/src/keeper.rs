//! The other parts of the keeper's figure: head, left hand, left glove, left boot. Each is made as
//! its shape says, cut open where it is worn, and drawn on.

use base::{Cancelled, Task};
use mesh::{DVec3, TriMesh};

use crate::boot::Boot;
use crate::cut::{Opening, cut};
use crate::dummy::Head;
use crate::extract::extract;
use crate::glove::{DummyHand, Glove};
use crate::guides::{Section, boundary_loops, sections};
use crate::sdf::Shape;
use crate::wall::{Wall, from_quads};
use crate::wearer::Wearer;
use crate::{DemoGuide, DemoOptions, DemoSculpt};

/// Thickness of the jersey, cm.
const WOOL: f64 = 0.7;
/// Points of each guide.
const POINTS: usize = 64;
/// Cells of the wall by which the right size is found, share of the box's least side.
const COARSE: f64 = 0.016;

/// A carved solid: its wall and sculpt.
struct Carved {
    wall: Wall,
    mesh: TriMesh,
}

/// Carves a solid into about so many triangles, open at `openings`.
fn carved(
    shape: &dyn Shape,
    [low, high]: [DVec3; 2],
    openings: &[Opening],
    triangles: usize,
    task: &Task,
) -> Result<Carved, Cancelled> {
    let made = |cell: f64| {
        let soup = extract(shape, low, high, cell, task)?;
        let mut wall = from_quads(soup, shape, cell, 2);
        for (rail, opening) in openings.iter().enumerate() {
            task.checkpoint()?;
            cut(&mut wall, opening, rail as u8, shape, cell);
        }
        wall.relax(shape, openings, cell, 3);
        Ok(wall)
    };
    let coarse = COARSE * (high - low).min_element();
    let count = made(coarse)?.triangles.len();
    let wanted = triangles.clamp(5_000, 8_000_000);
    let wall = made(coarse * (count as f64 / wanted as f64).sqrt())?;
    let mesh = wall.to_mesh();
    Ok(Carved { wall, mesh })
}

impl Carved {
    /// The boundary as a guide.
    fn opening(&self, opening: &Opening, count: Option<u32>) -> Option<DemoGuide> {
        let loops = boundary_loops(&self.mesh, &self.wall.boundary_next());
        let nearest = nearest(loops, opening.origin)?;
        Some(guide(opening.name, "opening", count, &nearest))
    }

    /// The longest closed section by a level.
    fn section(&self, level: impl Fn(DVec3) -> f64) -> Option<Section> {
        let found = self.sections(level).into_iter();
        found.max_by(|a, b| a.length().total_cmp(&b.length()))
    }

    /// The closed section by a level that is nearest to a place.
    fn section_near(&self, level: impl Fn(DVec3) -> f64, at: DVec3) -> Option<Section> {
        nearest(self.sections(level), at)
    }

    /// All closed sections by a level.
    fn sections(&self, level: impl Fn(DVec3) -> f64) -> Vec<Section> {
        let levels = self.mesh.positions.iter().map(|p| level(p.as_dvec3()));
        let levels: Vec<f64> = levels.collect();
        let mut found = sections(&self.mesh, &levels, |_| true);
        found.retain(|s| s.closed);
        found
    }
}

/// The section whose middle is nearest to a place.
fn nearest(sections: Vec<Section>, at: DVec3) -> Option<Section> {
    let off = |s: &Section| s.centre().distance(at);
    sections
        .into_iter()
        .min_by(|a, b| off(a).total_cmp(&off(b)))
}

fn guide(name: &str, kind: &'static str, count: Option<u32>, section: &Section) -> DemoGuide {
    DemoGuide {
        name: name.to_owned(),
        kind,
        closed: true,
        count,
        points: section.resampled(POINTS),
    }
}

/// The keeper's head with his neck, closed, with an opening drawn below the coat's collar.
///
/// # Errors
/// [`Cancelled`] when `task` is.
pub fn head(options: &DemoOptions, task: &Task) -> Result<DemoSculpt, Cancelled> {
    let carved = carved(&Head, Head::bounds(), &[], options.triangles, task)?;
    let neck = carved.section(|p| p.y - 149.0 + 0.25 * p.z);
    let neck = neck.map(|s| guide("neck", "opening", None, &s));
    Ok(sculpt(carved.mesh, neck, "The keeper's head and neck."))
}

/// A jersey over a body, as a solid.
struct Jersey(Wearer);

impl Shape for Jersey {
    fn distance(&self, p: DVec3) -> f64 {
        self.0.distance(p) - WOOL
    }
}

/// The keeper in a thick jersey and trousers, closed: trunk, arms and legs. The coat was draped
/// over less, so that it must give way.
///
/// # Errors
/// [`Cancelled`] when `task` is.
pub fn jersey(options: &DemoOptions, task: &Task) -> Result<TriMesh, Cancelled> {
    let bounds = [
        DVec3::new(-76.03, -1.07, -30.11),
        DVec3::new(76.11, 158.93, 34.13),
    ];
    Ok(carved(&Jersey(Wearer::new()), bounds, &[], options.triangles, task)?.mesh)
}

/// The keeper's left hand, closed, with an opening drawn above the wrist and a ring round the thumb.
///
/// # Errors
/// [`Cancelled`] when `task` is.
pub fn hand(options: &DemoOptions, task: &Task) -> Result<DemoSculpt, Cancelled> {
    let hand = DummyHand::left();
    let carved = carved(&hand, hand.bounds(), &[], options.triangles, task)?;
    let wrist = carved.section(|p| hand.along(p) + 7.2);
    let wrist = wrist.map(|s| guide("wrist", "opening", None, &s));
    // Without a ring so few quads leave the thumb a stump.
    let thumb = carved.section_near(|p| hand.along_thumb(p), hand.knuckle());
    let thumb = thumb.map(|s| guide("thumb", "ring", Some(8), &s));
    let guides = wrist.into_iter().chain(thumb);
    Ok(sculpt(carved.mesh, guides, "The keeper's left hand."))
}

/// The left glove, open at the wrist.
///
/// # Errors
/// [`Cancelled`] when `task` is.
pub fn glove(options: &DemoOptions, task: &Task) -> Result<DemoSculpt, Cancelled> {
    let glove = Glove::left(options.seed);
    let end = glove.opening();
    let openings = std::slice::from_ref(&end);
    let carved = carved(&glove, glove.bounds(), openings, options.triangles, task)?;
    let wrist = carved.section(|p| glove.along(p) + 0.4);
    let wrist = wrist.map(|s| guide("wrist bend", "ring", None, &s));
    let guides = carved.opening(&end, None).into_iter().chain(wrist);
    Ok(sculpt(
        carved.mesh,
        guides,
        "A knitted glove over the left hand.",
    ))
}

/// The left boot, open at its top.
///
/// # Errors
/// [`Cancelled`] when `task` is.
pub fn boot(options: &DemoOptions, task: &Task) -> Result<DemoSculpt, Cancelled> {
    let boot = Boot::left(options.seed);
    let top = Boot::opening();
    let openings = std::slice::from_ref(&top);
    let carved = carved(&boot, Boot::bounds(), openings, options.triangles, task)?;
    let shin = carved.section(|p| p.y - 29.0);
    let shin = shin.map(|s| guide("shin", "ring", Some(16), &s));
    let guides = carved.opening(&top, Some(16)).into_iter().chain(shin);
    Ok(sculpt(
        carved.mesh,
        guides,
        "A rubber boot for the left foot.",
    ))
}

fn sculpt(mesh: TriMesh, guides: impl IntoIterator<Item = DemoGuide>, notes: &str) -> DemoSculpt {
    DemoSculpt {
        mesh,
        guides: guides.into_iter().collect(),
        under: Vec::new(),
        notes: notes.to_owned(),
    }
}
