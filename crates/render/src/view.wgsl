struct Globals {
    clip_from_model: mat4x4<f32>,
    // xyz: the eye, or in parallel views the direction towards it; w: 1 in perspective.
    eye: vec4<f32>,
    right: vec4<f32>,
    up: vec4<f32>,
    // Of the picture, pixels; share of the way to the eye that lines are lifted.
    size: vec4<f32>,
};

struct Item {
    colour: vec4<f32>,
    inside: vec4<f32>,
    // Opacity; width in pixels; 1 where colours of vertices count.
    numbers: vec4<f32>,
};

@group(0) @binding(0) var<uniform> globals: Globals;
@group(1) @binding(0) var<uniform> item: Item;

fn towards_eye(p: vec3<f32>) -> vec3<f32> {
    if globals.eye.w > 0.5 {
        return normalize(globals.eye.xyz - p);
    }
    return globals.eye.xyz;
}

fn lifted(p: vec3<f32>) -> vec3<f32> {
    if globals.eye.w > 0.5 {
        return p + (globals.eye.xyz - p) * globals.size.z;
    }
    return p + globals.eye.xyz * globals.size.w;
}

struct Lit {
    @builtin(position) clip: vec4<f32>,
    @location(0) normal: vec3<f32>,
    @location(1) at: vec3<f32>,
    @location(2) colour: vec4<f32>,
};

@vertex
fn mesh_vertex(@location(0) at: vec3<f32>, @location(1) normal: vec3<f32>, @location(2) colour: vec4<f32>) -> Lit {
    var out: Lit;
    out.clip = globals.clip_from_model * vec4<f32>(at, 1.0);
    out.normal = normal;
    out.at = at;
    out.colour = colour;
    return out;
}

@fragment
fn mesh_fragment(in: Lit) -> @location(0) vec4<f32> {
    let eye = towards_eye(in.at);
    var normal = normalize(in.normal);
    var base = item.colour.rgb;
    if item.numbers.z > 0.5 {
        base = in.colour.rgb;
    }
    let facing = dot(normal, eye);
    if facing < 0.0 {
        normal = -normal;
        base = item.inside.rgb;
    }
    // A lamp over the left shoulder, a weaker one from the right, and light from all around.
    let forward = eye;
    let key = normalize(forward * 0.75 - globals.right.xyz * 0.45 + globals.up.xyz * 0.55);
    let fill = normalize(forward * 0.5 + globals.right.xyz * 0.8 - globals.up.xyz * 0.1);
    let sky = 0.5 + 0.5 * dot(normal, globals.up.xyz);
    let light = 0.30 + 0.14 * sky + 0.52 * max(dot(normal, key), 0.0) + 0.14 * max(dot(normal, fill), 0.0);
    return vec4<f32>(base * min(light, 1.08), item.numbers.x);
}

struct Flat {
    @builtin(position) clip: vec4<f32>,
    @location(0) colour: vec4<f32>,
    // Across the line, or over the mark, −1 to 1 within it.
    @location(1) place: vec2<f32>,
    @location(2) @interpolate(flat) shape: u32,
};

@vertex
fn line_vertex(
    @builtin(vertex_index) corner: u32,
    @location(0) from_at: vec3<f32>,
    @location(1) to_at: vec3<f32>,
    @location(2) colour: vec4<f32>,
) -> Flat {
    let a = globals.clip_from_model * vec4<f32>(lifted(from_at), 1.0);
    let b = globals.clip_from_model * vec4<f32>(lifted(to_at), 1.0);
    let half = globals.size.xy * 0.5;
    let along = (b.xy / b.w - a.xy / a.w) * half;
    let long = max(length(along), 1e-6);
    let direction = along / long;
    let across = vec2<f32>(-direction.y, direction.x);
    let end = select(0.0, 1.0, corner == 1u || corner == 2u || corner == 4u);
    let side = select(-1.0, 1.0, corner == 2u || corner == 4u || corner == 5u);
    var clip = mix(a, b, end);
    let width = item.numbers.y * 0.5 + 0.5;
    // Ends reach out by a half width, so that pieces of a line join.
    let offset = across * side * width + direction * (end * 2.0 - 1.0) * width * 0.5;
    clip.x += offset.x / half.x * clip.w;
    clip.y += offset.y / half.y * clip.w;
    var out: Flat;
    out.clip = clip;
    out.colour = colour;
    out.place = vec2<f32>(0.0, side * width);
    out.shape = 0u;
    return out;
}

@fragment
fn line_fragment(in: Flat) -> @location(0) vec4<f32> {
    let cover = clamp(item.numbers.y * 0.5 + 0.5 - abs(in.place.y), 0.0, 1.0);
    return vec4<f32>(in.colour.rgb, in.colour.a * cover * item.numbers.x);
}

@vertex
fn mark_vertex(
    @builtin(vertex_index) corner: u32,
    @location(0) at: vec3<f32>,
    @location(1) pixels: f32,
    @location(2) colour: vec4<f32>,
    @location(3) shape: u32,
) -> Flat {
    var clip = globals.clip_from_model * vec4<f32>(lifted(at), 1.0);
    let x = select(-1.0, 1.0, corner == 1u || corner == 2u || corner == 4u);
    let y = select(-1.0, 1.0, corner == 2u || corner == 4u || corner == 5u);
    let half = globals.size.xy * 0.5;
    clip.x += x * pixels * 0.5 / half.x * clip.w;
    clip.y += y * pixels * 0.5 / half.y * clip.w;
    var out: Flat;
    out.clip = clip;
    out.colour = colour;
    out.place = vec2<f32>(x, y);
    out.shape = shape;
    return out;
}

@fragment
fn mark_fragment(in: Flat) -> @location(0) vec4<f32> {
    let disc = length(in.place);
    let square = max(abs(in.place.x), abs(in.place.y)) * 1.12;
    let upright = abs(in.place.x) + abs(in.place.y);
    var far = disc;
    if in.shape == 1u { far = square; }
    if in.shape == 2u { far = upright; }
    if far > 1.0 { discard; }
    var colour = in.colour.rgb;
    // An outline, and for rings nothing within.
    if far > 0.74 { colour = item.colour.rgb; } else if in.shape == 3u && far < 0.4 { discard; }
    return vec4<f32>(colour, in.colour.a * item.numbers.x);
}

struct Ground {
    @builtin(position) clip: vec4<f32>,
    @location(0) share: f32,
};

@vertex
fn ground_vertex(@builtin(vertex_index) corner: u32) -> Ground {
    let x = select(-1.0, 3.0, corner == 1u);
    let y = select(-1.0, 3.0, corner == 2u);
    var out: Ground;
    out.clip = vec4<f32>(x, y, 1.0, 1.0);
    out.share = 0.5 + 0.5 * y;
    return out;
}

@fragment
fn ground_fragment(in: Ground) -> @location(0) vec4<f32> {
    return vec4<f32>(mix(item.inside.rgb, item.colour.rgb, in.share), 1.0);
}
