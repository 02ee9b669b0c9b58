//! Packing pictures (PNG, ISO/IEC 15948).

use png::{BitDepth, ColorType, Compression, Encoder, EncodingError, Filter};

use crate::canvas::Canvas;

/// An sRGB picture of eight bits a channel.
pub(crate) fn pack(canvas: &Canvas) -> Result<Vec<u8>, EncodingError> {
    let mut bytes = Vec::new();
    let mut encoder = Encoder::new(&mut bytes, canvas.width as u32, canvas.height as u32);
    encoder.set_color(ColorType::Rgb);
    encoder.set_depth(BitDepth::Eight);
    encoder.set_compression(Compression::Balanced);
    encoder.set_filter(Filter::Adaptive);
    encoder.set_source_srgb(png::SrgbRenderingIntent::Perceptual);
    let mut writer = encoder.write_header()?;
    writer.write_image_data(&canvas.bytes())?;
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
        let mut reader = png::Decoder::new(std::io::Cursor::new(packed))
            .read_info()
            .unwrap();
        let mut bytes = vec![0; reader.output_buffer_size().unwrap()];
        let info = reader.next_frame(&mut bytes).unwrap();
        assert_eq!((info.width, info.height), (5, 3));
        let at = (2 * 5 + 1) * 3;
        assert_eq!(bytes[at..at + 3], [0, 188, 255]);
        assert_eq!(bytes[..3], [255; 3]);
    }
}
