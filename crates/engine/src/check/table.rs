//! Measures as tables of texts.

use super::measures::{GuideMeasures, Measures};

/// A table to show.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct MeasureTable {
    /// What it shows.
    pub title: String,
    /// One heading a column.
    pub headings: Vec<String>,
    /// Rows of as many cells.
    pub rows: Vec<Vec<String>>,
}

impl Measures {
    /// All measures but those of single guides: name, value, unit.
    pub fn table(&self) -> MeasureTable {
        let mut rows = Vec::new();
        let mut add = |name: &str, value: String, unit: &str| {
            rows.push(vec![name.to_owned(), value, unit.to_owned()]);
        };
        self.add_elements(&mut add);
        self.add_fit(&mut add);
        self.add_form(&mut add);
        MeasureTable {
            title: "Measures".to_owned(),
            headings: ["measure", "value", "unit"].map(str::to_owned).to_vec(),
            rows,
        }
    }

    fn add_elements(&self, add: &mut impl FnMut(&str, String, &str)) {
        let c = &self.counts;
        for (name, count) in [
            ("vertices", c.vertices),
            ("faces", c.faces),
            ("pieces", c.components),
            ("boundary loops", c.boundary_loops),
            ("unused vertices", c.unused_vertices),
            ("edges with more than two faces", c.nonmanifold_edges),
            ("vertices where parts merely touch", c.nonmanifold_vertices),
            (
                "edges between faces that face opposite ways",
                c.inconsistent_edges,
            ),
            ("corners of the boundary", self.poles.corners),
            ("other boundary poles", self.poles.boundary_other),
        ] {
            add(name, count.to_string(), "");
        }
        add("Euler characteristic", c.euler.to_string(), "");
        for (valence, count) in &self.poles.interior_valences {
            add(
                &format!("inner vertices of {valence} edges"),
                count.to_string(),
                "",
            );
        }
        let s = &self.strips;
        for (name, count) in [
            ("strips", s.strips),
            ("closed strips", s.closed),
            ("spiralling strips", s.spirals),
            (
                "pairs of triangles that pass through each other",
                self.self_intersections,
            ),
        ] {
            add(name, count.to_string(), "");
        }
        add(
            "longest strip",
            number(100.0 * s.longest_share),
            "% of all quads",
        );
        if let Some(mirror) = &self.mirror {
            add("mirror error", number(mirror.error), "edges");
            add(
                "faces without mirror image",
                mirror.faces_missing.to_string(),
                "",
            );
        }
    }

    fn add_fit(&self, add: &mut impl FnMut(&str, String, &str)) {
        const PCT: &str = "% of the diagonal";
        let (f, r) = (&self.fit, &self.reverse);
        for (name, value) in [
            ("distance to the sculpt, RMS", f.rms_pct),
            ("distance to the sculpt, 99th percentile", f.p99_pct),
            ("distance to the sculpt, largest", f.max_pct),
            (
                "distance to the sculpt, mean with sign (outside is positive)",
                f.signed_mean_pct,
            ),
            ("distance of the vertices, largest", f.vertices_max_pct),
            ("distance from the sculpt, 99th percentile", r.p99_pct),
            ("distance from the sculpt, largest", r.max_pct),
        ] {
            add(name, number(value), PCT);
        }
        add(
            "sculpt beyond the surface",
            number(100.0 * r.ignored_share),
            "% of samples",
        );
        add(
            "angle of the normals, mean",
            number(f.normal_dev_mean_deg),
            "°",
        );
        add(
            "angle of the normals, 95th percentile",
            number(f.normal_dev_p95_deg),
            "°",
        );
        if let Some(y) = &self.yardstick {
            add(
                "distance over that of plain decimation",
                number(y.rms_ratio),
                "",
            );
            add(
                "distance over that of the best decimation",
                number(y.rms_ratio_to_best),
                "",
            );
        }
    }

    fn add_form(&self, add: &mut impl FnMut(&str, String, &str)) {
        let (s, q) = (&self.size, &self.shape);
        add("mean edge", number(s.mean_edge), "units");
        if let Some(error) = s.face_count_error_pct {
            add("off the faces asked for", number(error), "%");
        }
        for (name, value, unit) in [
            (
                "long over short edges (95th, 5th percentile)",
                s.edge_ratio_p95_p5,
                "",
            ),
            (
                "variation of the faces' areas",
                s.face_area_cv,
                "of the mean",
            ),
            ("scaled Jacobian, least", q.scaled_jacobian_min, ""),
            (
                "scaled Jacobian, first percentile",
                q.scaled_jacobian_p1,
                "",
            ),
            ("scaled Jacobian, mean", q.scaled_jacobian_mean, ""),
            ("angles off 90°, mean", q.angle_dev_mean_deg, "°"),
            ("angles off 90°, 95th percentile", q.angle_dev_p95_deg, "°"),
            ("warp, 95th percentile", q.warp_p95_deg, "°"),
            ("aspect, 95th percentile", q.aspect_p95, ""),
        ] {
            add(name, number(value), unit);
        }
    }

    /// One row a guide.
    pub fn guide_table(&self) -> MeasureTable {
        let headings = [
            "guide",
            "asked",
            "edges round",
            "distance (edges)",
            "angle (°)",
            "at the boundary",
            "poles on it",
        ];
        let count = |n: Option<usize>| n.map_or_else(String::new, |n| n.to_string());
        let row = |g: &GuideMeasures| {
            vec![
                g.name.clone(),
                count(g.count.map(|n| n as usize)),
                count(g.cycle_length),
                number(g.distance_p95),
                number(g.angle_p95_deg),
                if g.on_boundary { "yes" } else { "no" }.to_owned(),
                g.poles.to_string(),
            ]
        };
        MeasureTable {
            title: "Guides".to_owned(),
            headings: headings.map(str::to_owned).to_vec(),
            rows: self.guides.iter().map(row).collect(),
        }
    }
}

/// Three digits that matter, no exponent where none is needed.
fn number(x: f64) -> String {
    let size = x.abs();
    if size == 0.0 {
        "0".to_owned()
    } else if size < 1e-3 {
        format!("{x:.1e}")
    } else {
        let decimals = (2 - size.log10().floor() as i32).clamp(0, 5) as usize;
        format!("{x:.decimals$}")
    }
}

#[cfg(test)]
mod tests {
    use super::number;

    #[test]
    fn numbers_keep_three_digits() {
        let shown = [0.0, 1234.5, 12.345, 0.012345, 1.5e-7, -0.5].map(number);
        assert_eq!(shown, ["0", "1234", "12.3", "0.0123", "1.5e-7", "-0.500"]);
    }
}
