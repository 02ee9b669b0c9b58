//! Tables of the report and of the terminal.

use engine::check::{MeasureTable, Measures};
use finish::layers::{Cleared, Layer, Side, Standing};
use mesh::QuadMesh;
use report::Table;

/// The tables of a finished surface: measures, guides, patches.
pub fn of(measures: &Measures, surface: &QuadMesh, patch_of_quad: &[u32]) -> Vec<Table> {
    let mut tables = vec![shown(measures.guide_table()), shown(measures.table())];
    if !patch_of_quad.is_empty() {
        tables.push(patches(surface, patch_of_quad));
    }
    tables.retain(|table| !table.rows.is_empty());
    tables
}

/// One row a layer: what was in the way before, and what is now.
pub fn layers(layers: &[Layer], cleared: &Cleared) -> Table {
    let all = layers.iter().zip(&cleared.before).zip(&cleared.after);
    let row = |((layer, before), after): ((&Layer, &Standing), &Standing)| {
        let side = match layer.side {
            Side::Under => "under",
            Side::Over => "over",
        };
        let counts = |of: &Standing| [of.crossings.len(), of.close.len(), of.wrong.len()];
        let mut row = vec![
            layer.name.clone(),
            side.to_owned(),
            layer.clearance.to_string(),
        ];
        let pairs = counts(before).into_iter().zip(counts(after));
        row.extend(pairs.map(|(was, is)| format!("{was} → {is}")));
        row
    };
    Table {
        title: "Layers: before → after".to_owned(),
        headings: [
            "layer",
            "side",
            "clearance (units)",
            "pairs that go through",
            "faces too close",
            "vertices on the wrong side",
        ]
        .map(str::to_owned)
        .to_vec(),
        rows: all.map(row).collect(),
    }
}

fn shown(table: MeasureTable) -> Table {
    Table {
        title: table.title,
        headings: table.headings,
        rows: table.rows,
    }
}

/// One row a patch; mirrored quads count with their image's patch.
fn patches(surface: &QuadMesh, patch_of_quad: &[u32]) -> Table {
    let count = patch_of_quad
        .iter()
        .max()
        .map_or(0, |&last| last as usize + 1);
    let mut quads = vec![0usize; count];
    let mut areas = vec![0.0; count];
    for (quad, &patch) in patch_of_quad.iter().enumerate() {
        quads[patch as usize] += 1;
        areas[patch as usize] += area(surface, quad);
    }
    let row = |patch: usize| {
        let mean = areas[patch] / quads[patch] as f64;
        vec![
            patch.to_string(),
            quads[patch].to_string(),
            format!("{:.2}", areas[patch]),
            format!("{mean:.3}"),
        ]
    };
    Table {
        title: "Patches".to_owned(),
        headings: ["patch", "quads", "area (units²)", "area of a quad (units²)"]
            .map(str::to_owned)
            .to_vec(),
        rows: (0..count).filter(|&p| quads[p] > 0).map(row).collect(),
    }
}

/// Half the length of the diagonals' cross product: the quad's area seen along its normal.
fn area(surface: &QuadMesh, quad: usize) -> f64 {
    let corner = |v: u32| surface.positions.get(v as usize).copied();
    let corners = surface.quads.get(quad).map(|quad| quad.map(corner));
    match corners {
        Some([Some(a), Some(b), Some(c), Some(d)]) => (c - a).cross(d - b).length() / 2.0,
        _ => 0.0,
    }
}

/// A table as lines of text with its columns in line; numbers stand to the right.
pub fn text(table: &Table) -> String {
    let columns = table.headings.len();
    let cell = |row: &[String], i: usize| row.get(i).cloned().unwrap_or_default();
    let width = |i: usize| {
        let cells = table.rows.iter().map(|row| cell(row, i).chars().count());
        cells
            .max()
            .unwrap_or(0)
            .max(table.headings[i].chars().count())
    };
    let widths: Vec<usize> = (0..columns).map(width).collect();
    let line = |row: &[String]| {
        let cells = (0..columns).map(|i| {
            let (text, width) = (cell(row, i), widths[i]);
            match text.parse::<f64>() {
                Ok(_) => format!("{text:>width$}"),
                Err(_) => format!("{text:<width$}"),
            }
        });
        let line = cells.collect::<Vec<_>>().join("  ");
        format!("  {}\n", line.trim_end())
    };
    let rows: String = table.rows.iter().map(|row| line(row)).collect();
    format!("{}\n{}{rows}", table.title, line(&table.headings))
}

#[cfg(test)]
mod tests {
    use super::*;
    use mesh::DVec3;

    #[test]
    fn patches_sum_up_their_quads() {
        let positions = (0..4)
            .flat_map(|x| (0..2).map(move |y| DVec3::new(f64::from(x), 2.0 * f64::from(y), 0.0)));
        let surface = QuadMesh {
            positions: positions.collect(),
            quads: (0..3)
                .map(|x| [2 * x, 2 * x + 2, 2 * x + 3, 2 * x + 1])
                .collect(),
            groups: vec![],
        };
        let table = patches(&surface, &[0, 2, 0]);
        assert_eq!(
            table.rows,
            [["0", "2", "4.00", "2.000"], ["2", "1", "2.00", "2.000"]]
        );
    }

    #[test]
    fn columns_stand_in_line() {
        let table = Table {
            title: "Guides".into(),
            headings: vec!["guide".into(), "asked".into()],
            rows: vec![
                vec!["hem".into(), "8".into()],
                vec!["left wrist".into(), "12".into()],
            ],
        };
        let expected = "Guides\n  guide       asked\n  hem             8\n  left wrist     12\n";
        assert_eq!(text(&table), expected);
    }
}
