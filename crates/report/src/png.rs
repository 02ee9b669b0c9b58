//! Packing pictures (PNG, ISO/IEC 15948).

use png::{BitDepth, ColorType, Compression, Encoder, EncodingError, Filter};

use crate::canvas::Canvas;
use crate::palette::indexed;

/// An sRGB picture of at most 256 colours.
pub(crate) fn pack(canvas: &Canvas) -> Result<Vec<u8>, EncodingError> {
    let picture = indexed(&canvas.bytes());
    let mut bytes = Vec::new();
    let mut encoder = Encoder::new(&mut bytes, canvas.width as u32, canvas.height as u32);
    encoder.set_color(ColorType::Indexed);
    encoder.set_depth(BitDepth::Eight);
    encoder.set_palette(picture.palette.concat());
    encoder.set_compression(Compression::Balanced);
    encoder.set_filter(Filter::NoFilter);
    encoder.set_source_srgb(png::SrgbRenderingIntent::Perceptual);
    let mut writer = encoder.write_header()?;
    writer.write_image_data(&picture.indices)?;
    writer.finish()?;
    Ok(bytes)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn pixels_come_back_as_they_were() {
        let canvas = Canvas::painted(5, 3, [1.0; 3], |x, y| {
            (x / 2 == 1 && y / 2 == 2).then_some([0.0, 0.5, 1.0])
        });
        let packed = pack(&canvas).unwrap();
        let mut decoder = png::Decoder::new(std::io::Cursor::new(packed));
        decoder.set_transformations(png::Transformations::EXPAND);
        let mut reader = decoder.read_info().unwrap();
        let mut bytes = vec![0; reader.output_buffer_size().unwrap()];
        let info = reader.next_frame(&mut bytes).unwrap();
        assert_eq!((info.width, info.height), (5, 3));
        let at = (2 * 5 + 1) * 3;
        assert_eq!(bytes[at..at + 3], [0, 188, 255]);
        assert_eq!(bytes[..3], [255; 3]);
    }
}
