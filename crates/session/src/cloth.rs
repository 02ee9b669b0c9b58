//! Rings along the edges of cloth, where nobody drew any: a sculpt of cloth with a thickness has no
//! boundary that would stand for cuff and hem.

use base::{Finding, Level, Place, Task};
use engine::model::{Guide, GuideKind, Plane};
use engine::walls;
use mesh::DVec3;

use crate::pipeline::{Session, SessionError, Settings};

/// Nearer than so many quads to a drawn guide, an edge is left to that.
const NEAR: f64 = 1.5;

impl Session {
    /// A ring along each edge of cloth that no guide of the job comes near, or its image, for quads of
    /// this edge length (model units).
    pub(crate) fn cloth_rings(
        &mut self,
        settings: &Settings,
        plane: Option<Plane>,
        edge: f64,
        task: &Task,
    ) -> Result<Vec<Guide>, SessionError> {
        let found = match &self.cloth {
            Some((of, found)) if *of == edge => found,
            _ => {
                let found = walls::edges_of_cloth(&self.sculpt, edge, task)?;
                &self.cloth.insert((edge, found)).1
            }
        };
        let mut drawn: Vec<DVec3> = settings
            .guides
            .iter()
            .flat_map(|g| g.points.clone())
            .collect();
        if let Some(plane) = plane {
            drawn.extend(drawn.clone().into_iter().map(|p| plane.mirror(p)));
        }
        let near = |p: &DVec3, ring: &[DVec3]| ring.iter().any(|q| p.distance(*q) < NEAR * edge);
        let free = |ring: &&Vec<DVec3>| !drawn.iter().any(|p| near(p, ring));
        let taken = |name: &str| settings.guides.iter().any(|g| g.name == name);
        let mut names = (1..).map(|n| format!("edge of the cloth {n}"));
        let ring = |points: &Vec<DVec3>| Guide {
            name: names.find(|name| !taken(name)).unwrap_or_default(),
            kind: GuideKind::Ring,
            closed: true,
            count: None,
            points: points.clone(),
        };
        Ok(found.iter().filter(free).map(ring).collect())
    }
}

/// What is told of such rings; `None` where there are none.
pub(crate) fn told(rings: &[Guide]) -> Option<Finding> {
    let (many, along) = match rings.len() {
        0 => return None,
        1 => (
            "a closed curve".to_owned(),
            "it, as if a ring were drawn there",
        ),
        n => (
            format!("{n} closed curves"),
            "them, as if rings were drawn there",
        ),
    };
    let sentence = format!("Both walls of the cloth meet along {many}; edges run along {along}.");
    let places = rings.iter().filter_map(|r| r.points.first());
    Some(places.fold(
        Finding::new("cloth-edge", Level::Note, sentence),
        |finding, at| finding.at(Place::Point { at: at.to_array() }),
    ))
}
