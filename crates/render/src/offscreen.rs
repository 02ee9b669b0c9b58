//! Pictures without a window.

use thiserror::Error;

use crate::item::View;
use crate::scene::Scene;

/// Why there is no picture.
#[derive(Debug, Error)]
pub enum RenderError {
    /// No graphics device, not even a slow one.
    #[error(
        "no graphics device was found: {0}. Install a Vulkan driver; a software one will do (Debian: mesa-vulkan-drivers)"
    )]
    NoAdapter(#[from] wgpu::RequestAdapterError),
    /// The device can't be had.
    #[error("the graphics device can't be used: {0}")]
    NoDevice(#[from] wgpu::RequestDeviceError),
    /// The picture can't be read back.
    #[error("the picture can't be read back from the graphics device: {0}")]
    Unreadable(String),
}

/// A scene on a device of its own.
pub struct Offscreen {
    /// The scene.
    pub scene: Scene,
}

impl Offscreen {
    /// Asks for a device: any will do.
    ///
    /// # Errors
    /// [`RenderError`].
    pub fn new() -> Result<Self, RenderError> {
        Self::on(wgpu::Backends::all(), wgpu::Limits::default())
    }

    /// Asks for a device of some kinds, which takes no more than it must.
    ///
    /// # Errors
    /// [`RenderError`].
    pub fn on(backends: wgpu::Backends, limits: wgpu::Limits) -> Result<Self, RenderError> {
        let mut wanted = wgpu::InstanceDescriptor::new_without_display_handle();
        wanted.backends = backends;
        let instance = wgpu::Instance::new(wanted);
        let adapter =
            pollster::block_on(instance.request_adapter(&wgpu::RequestAdapterOptions::default()))?;
        let wanted = wgpu::DeviceDescriptor {
            required_limits: limits,
            ..wgpu::DeviceDescriptor::default()
        };
        let (device, queue) = pollster::block_on(adapter.request_device(&wanted))?;
        Ok(Self {
            scene: Scene::new(device, queue),
        })
    }

    /// The picture, row by row from the top, four bytes a pixel: sRGB and opacity.
    ///
    /// # Errors
    /// [`RenderError::Unreadable`].
    pub fn picture(&mut self, view: &View) -> Result<Vec<[u8; 4]>, RenderError> {
        self.scene.render(view);
        let unreadable = |what: &dyn std::fmt::Display| RenderError::Unreadable(what.to_string());
        let texture = self
            .scene
            .texture()
            .ok_or_else(|| unreadable(&"nothing was drawn"))?;
        let (device, queue) = self.scene.device();
        let size = texture.size();
        // Rows on the device begin at multiples of this.
        let align = wgpu::COPY_BYTES_PER_ROW_ALIGNMENT;
        let row = (4 * size.width).div_ceil(align) * align;
        let buffer = device.create_buffer(&wgpu::BufferDescriptor {
            label: Some("picture"),
            size: u64::from(row) * u64::from(size.height),
            usage: wgpu::BufferUsages::COPY_DST | wgpu::BufferUsages::MAP_READ,
            mapped_at_creation: false,
        });
        let mut encoder = device.create_command_encoder(&wgpu::CommandEncoderDescriptor::default());
        encoder.copy_texture_to_buffer(
            texture.as_image_copy(),
            wgpu::TexelCopyBufferInfo {
                buffer: &buffer,
                layout: wgpu::TexelCopyBufferLayout {
                    offset: 0,
                    bytes_per_row: Some(row),
                    rows_per_image: None,
                },
            },
            size,
        );
        queue.submit([encoder.finish()]);
        let (sender, receiver) = std::sync::mpsc::channel();
        buffer
            .slice(..)
            .map_async(wgpu::MapMode::Read, move |result| {
                // The receiver waits below.
                let _ = sender.send(result);
            });
        device
            .poll(wgpu::PollType::wait_indefinitely())
            .map_err(|e| unreadable(&e))?;
        let mapped = receiver.recv().map_err(|e| unreadable(&e))?;
        mapped.map_err(|e| unreadable(&e))?;
        let bytes = buffer
            .slice(..)
            .get_mapped_range()
            .map_err(|e| unreadable(&e))?;
        let rows = bytes.chunks_exact(row as usize);
        let pixels = rows.flat_map(|row| {
            let (pixels, _) = row.as_chunks::<4>();
            pixels
                .iter()
                .copied()
                .take(size.width as usize)
                .collect::<Vec<_>>()
        });
        Ok(pixels.collect())
    }
}
