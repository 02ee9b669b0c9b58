//! The passes' fixed parts.

use wgpu::{
    BlendState, ColorTargetState, ColorWrites, CompareFunction, DepthStencilState, Device,
    FragmentState, PrimitiveState, RenderPipeline, RenderPipelineDescriptor, VertexBufferLayout,
    VertexState, VertexStepMode,
};

use crate::geometry::{Joined, Vertex};
use crate::item::Mark;

/// Pixels of the picture: what windows take as it is.
pub(crate) const COLOUR: wgpu::TextureFormat = wgpu::TextureFormat::Rgba8Unorm;
/// Depths: 1 near, 0 far, so that they are as fine far away as near by.
pub(crate) const DEPTH: wgpu::TextureFormat = wgpu::TextureFormat::Depth32Float;

/// How each kind of thing is drawn.
pub(crate) struct Pipelines {
    pub ground: RenderPipeline,
    pub solid: RenderPipeline,
    /// Depths of what is faint: its nearest layer.
    pub ghost_depth: RenderPipeline,
    /// That layer's colours.
    pub ghost: RenderPipeline,
    pub lines: RenderPipeline,
    /// Parts of lines that lie behind something.
    pub hidden_lines: RenderPipeline,
    pub marks: RenderPipeline,
    pub hidden_marks: RenderPipeline,
    /// Of group 0 and of group 1.
    pub layouts: [wgpu::BindGroupLayout; 2],
}

struct Pass<'a> {
    name: &'static str,
    entry: [&'static str; 2],
    buffers: &'a [Option<VertexBufferLayout<'a>>],
    compare: CompareFunction,
    writes_depth: bool,
    colours: ColorWrites,
}

impl Pipelines {
    pub fn new(device: &Device) -> Self {
        let module = device.create_shader_module(wgpu::include_wgsl!("view.wgsl"));
        let layouts = [layout(device, "globals"), layout(device, "item")];
        let whole = device.create_pipeline_layout(&wgpu::PipelineLayoutDescriptor {
            label: Some("view"),
            bind_group_layouts: &[Some(&layouts[0]), Some(&layouts[1])],
            immediate_size: 0,
        });
        let vertices = wgpu::vertex_attr_array![0 => Float32x3, 1 => Float32x3, 2 => Unorm8x4];
        let pieces = wgpu::vertex_attr_array![0 => Float32x3, 1 => Float32x3, 2 => Float32x3,
            3 => Float32x3, 4 => Float32, 5 => Unorm8x4];
        let marks =
            wgpu::vertex_attr_array![0 => Float32x3, 1 => Float32, 2 => Unorm8x4, 3 => Uint32];
        let mesh = [Some(VertexBufferLayout {
            array_stride: size_of::<Vertex>() as u64,
            step_mode: VertexStepMode::Vertex,
            attributes: &vertices,
        })];
        let line = [Some(VertexBufferLayout {
            array_stride: size_of::<Joined>() as u64,
            step_mode: VertexStepMode::Instance,
            attributes: &pieces,
        })];
        let mark = [Some(VertexBufferLayout {
            array_stride: size_of::<Mark>() as u64,
            step_mode: VertexStepMode::Instance,
            attributes: &marks,
        })];
        let near = CompareFunction::GreaterEqual;
        let of = |pass: Pass<'_>| pipeline(device, &module, &whole, &pass);
        let mesh_pass = |name, fragment, writes_depth, colours| Pass {
            name,
            entry: ["mesh_vertex", fragment],
            buffers: &mesh,
            compare: near,
            writes_depth,
            colours,
        };
        let line_pass = |name, compare| Pass {
            name,
            entry: ["line_vertex", "line_fragment"],
            buffers: &line,
            compare,
            writes_depth: false,
            colours: ColorWrites::ALL,
        };
        let mark_pass = |name, compare| Pass {
            name,
            entry: ["mark_vertex", "mark_fragment"],
            buffers: &mark,
            compare,
            writes_depth: false,
            colours: ColorWrites::ALL,
        };
        Self {
            ground: of(Pass {
                name: "ground",
                entry: ["ground_vertex", "ground_fragment"],
                buffers: &[],
                compare: CompareFunction::Always,
                writes_depth: false,
                colours: ColorWrites::ALL,
            }),
            solid: of(mesh_pass("solid", "mesh_fragment", true, ColorWrites::ALL)),
            ghost_depth: of(mesh_pass(
                "ghost depth",
                "depth_fragment",
                true,
                ColorWrites::empty(),
            )),
            ghost: of(mesh_pass("ghost", "mesh_fragment", false, ColorWrites::ALL)),
            lines: of(line_pass("lines", near)),
            hidden_lines: of(line_pass("hidden lines", CompareFunction::Less)),
            marks: of(mark_pass("marks", near)),
            hidden_marks: of(mark_pass("hidden marks", CompareFunction::Less)),
            layouts,
        }
    }
}

fn layout(device: &Device, name: &str) -> wgpu::BindGroupLayout {
    device.create_bind_group_layout(&wgpu::BindGroupLayoutDescriptor {
        label: Some(name),
        entries: &[wgpu::BindGroupLayoutEntry {
            binding: 0,
            visibility: wgpu::ShaderStages::VERTEX_FRAGMENT,
            ty: wgpu::BindingType::Buffer {
                ty: wgpu::BufferBindingType::Uniform,
                has_dynamic_offset: false,
                min_binding_size: None,
            },
            count: None,
        }],
    })
}

fn pipeline(
    device: &Device,
    module: &wgpu::ShaderModule,
    layout: &wgpu::PipelineLayout,
    pass: &Pass<'_>,
) -> RenderPipeline {
    device.create_render_pipeline(&RenderPipelineDescriptor {
        label: Some(pass.name),
        layout: Some(layout),
        vertex: VertexState {
            module,
            entry_point: Some(pass.entry[0]),
            buffers: pass.buffers,
            compilation_options: wgpu::PipelineCompilationOptions::default(),
        },
        primitive: PrimitiveState::default(),
        depth_stencil: Some(DepthStencilState {
            format: DEPTH,
            depth_write_enabled: Some(pass.writes_depth),
            depth_compare: Some(pass.compare),
            stencil: wgpu::StencilState::default(),
            bias: wgpu::DepthBiasState::default(),
        }),
        multisample: wgpu::MultisampleState::default(),
        fragment: Some(FragmentState {
            module,
            entry_point: Some(pass.entry[1]),
            targets: &[Some(ColorTargetState {
                format: COLOUR,
                blend: Some(BlendState::ALPHA_BLENDING),
                write_mask: pass.colours,
            })],
            compilation_options: wgpu::PipelineCompilationOptions::default(),
        }),
        multiview_mask: None,
        cache: None,
    })
}
