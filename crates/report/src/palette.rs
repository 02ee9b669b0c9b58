//! Choosing 256 colours for a picture, which packs it into less than half the bytes.
//!
//! Boxes of colours are split at their mean along their widest axis, the one with the greatest
//! squared error first, after Wan, Prusinkiewicz & Wong, "Variance-based color image quantization
//! for frame buffer display", 1990.

/// Most colours in a palette.
const MOST: usize = 256;
/// Bits of each channel that tell colours apart before boxes are made.
const BITS: u32 = 6;

/// A picture as indices into a palette.
pub(crate) struct Indexed {
    /// sRGB, at most 256.
    pub palette: Vec<[u8; 3]>,
    /// One a pixel.
    pub indices: Vec<u8>,
}

/// Pixels that differ in none of the upper bits.
#[derive(Clone, Copy, Default)]
struct Cell {
    cell: u32,
    count: f64,
    sum: [f64; 3],
}

impl Cell {
    fn mean(&self, channel: usize) -> f64 {
        self.sum[channel] / self.count
    }
}

/// A run of cells that share a colour.
struct Box {
    first: usize,
    last: usize,
    /// Axis along which it spreads furthest, and the mean there.
    axis: usize,
    mean: f64,
    /// Squared error along that axis.
    error: f64,
}

fn cell_of(pixel: &[u8]) -> u32 {
    pixel
        .iter()
        .fold(0, |cell, &v| cell << BITS | u32::from(v) >> (8 - BITS))
}

/// Chooses colours for sRGB pixels, three bytes each.
pub(crate) fn indexed(bytes: &[u8]) -> Indexed {
    let mut cells = vec![Cell::default(); 1 << (3 * BITS)];
    for pixel in bytes.chunks_exact(3) {
        let cell = &mut cells[cell_of(pixel) as usize];
        cell.count += 1.0;
        (0..3).for_each(|i| cell.sum[i] += f64::from(pixel[i]));
    }
    let mut used: Vec<Cell> = (0u32..)
        .zip(cells)
        .filter(|(_, cell)| cell.count > 0.0)
        .map(|(i, cell)| Cell { cell: i, ..cell })
        .collect();
    let boxes = split(&mut used);
    let mut index_of_cell = vec![0u8; 1 << (3 * BITS)];
    let mut palette = Vec::with_capacity(boxes.len());
    for (index, one) in boxes.iter().enumerate() {
        let members = &used[one.first..one.last];
        let count: f64 = members.iter().map(|c| c.count).sum();
        palette.push(
            [0, 1, 2]
                .map(|i| (members.iter().map(|c| c.sum[i]).sum::<f64>() / count).round() as u8),
        );
        for member in members {
            index_of_cell[member.cell as usize] = index as u8;
        }
    }
    let indices = bytes
        .chunks_exact(3)
        .map(|pixel| index_of_cell[cell_of(pixel) as usize])
        .collect();
    Indexed { palette, indices }
}

fn split(cells: &mut [Cell]) -> Vec<Box> {
    if cells.is_empty() {
        return Vec::new();
    }
    let mut boxes = vec![measured(cells, 0, cells.len())];
    while boxes.len() < MOST {
        // Of equal errors the first is taken.
        let Some(worst) = (0..boxes.len())
            .rev()
            .max_by(|&a, &b| boxes[a].error.total_cmp(&boxes[b].error))
        else {
            break;
        };
        let Box {
            first,
            last,
            axis,
            mean,
            error,
        } = boxes[worst];
        if error <= 0.0 {
            break;
        }
        let part = &mut cells[first..last];
        part.sort_unstable_by(|a, b| {
            a.mean(axis)
                .total_cmp(&b.mean(axis))
                .then(a.cell.cmp(&b.cell))
        });
        let middle = first
            + part
                .partition_point(|c| c.mean(axis) < mean)
                .clamp(1, part.len() - 1);
        boxes[worst] = measured(cells, first, middle);
        boxes.push(measured(cells, middle, last));
    }
    boxes
}

fn measured(cells: &[Cell], first: usize, last: usize) -> Box {
    let members = &cells[first..last];
    let count: f64 = members.iter().map(|c| c.count).sum();
    let spread = |axis: usize| {
        let mean = members.iter().map(|c| c.sum[axis]).sum::<f64>() / count;
        let error: f64 = members
            .iter()
            .map(|c| c.count * (c.mean(axis) - mean).powi(2))
            .sum();
        (error, mean)
    };
    let mut best = (0, spread(0));
    for axis in 1..3 {
        let other = spread(axis);
        if other.0 > best.1.0 {
            best = (axis, other);
        }
    }
    let error = if members.len() > 1 { best.1.0 } else { 0.0 };
    Box {
        first,
        last,
        axis: best.0,
        mean: best.1.1,
        error,
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn few_colours_are_kept_as_they_are() {
        let colours: Vec<[u8; 3]> = (0..200u8).map(|i| [i, 255 - i, (i % 14) * 18]).collect();
        let bytes: Vec<u8> = colours
            .iter()
            .cycle()
            .take(1000)
            .flatten()
            .copied()
            .collect();
        let picture = indexed(&bytes);
        for (pixel, &index) in bytes.chunks(3).zip(&picture.indices) {
            let have = picture.palette[index as usize];
            assert!(pixel.iter().zip(have).all(|(a, b)| a.abs_diff(b) <= 3));
        }
        let two = indexed(&[10, 20, 30, 200, 100, 50]);
        assert_eq!(
            two.indices
                .iter()
                .map(|&i| two.palette[i as usize])
                .collect::<Vec<_>>(),
            [[10, 20, 30], [200, 100, 50]]
        );
        assert!(indexed(&[]).palette.is_empty());
    }

    /// An even ramp over n colours in 256 steps of the palette is off by a uniform error of up to
    /// half a step, of which the root mean square is step / √12 (handbook: quantisation noise).
    #[test]
    fn a_ramp_is_off_by_no_more_than_the_steps_allow() {
        let ramp: Vec<[u8; 3]> = (0..256u32 * 256)
            .map(|i| [(i / 256) as u8, (i % 256) as u8, 90])
            .collect();
        let bytes: Vec<u8> = ramp.concat();
        let picture = indexed(&bytes);
        assert_eq!(picture.palette.len(), 256);
        let squares: f64 = ramp
            .iter()
            .zip(&picture.indices)
            .flat_map(|(p, &i)| (0..2).map(move |k| (k, *p, i)))
            .map(|(k, p, i)| f64::from(p[k].abs_diff(picture.palette[i as usize][k])).powi(2))
            .sum();
        let rms = (squares / (2 * ramp.len()) as f64).sqrt();
        assert!(rms < 1.15 * 16.0 / 12f64.sqrt(), "{rms}");
    }
}
