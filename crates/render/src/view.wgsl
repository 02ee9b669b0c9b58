struct Globals {
    clip_from_model: mat4x4<f32>,
    // xyz: the eye, or in parallel views the direction towards it; w: 1 in perspective.
    eye: vec4<f32>,
    // xyz: the direction; w: pixels of the device to one of those in which marks are measured.
    right: vec4<f32>,
    up: vec4<f32>,
    // Of the picture, pixels; how far a pixel's worth of lifting goes: share of the way to the eye in
    // perspective, model units otherwise.
    size: vec4<f32>,
};

struct Item {
    colour: vec4<f32>,
    inside: vec4<f32>,
    // Opacity; width in pixels; 1 where colours of vertices count; length of a dash with its gap, pixels.
    numbers: vec4<f32>,
    // How much nearer to the eye it counts, model units.
    over: vec4<f32>,
    // Strokes over a mesh: direction across them, over their distance in pixels of the picture; share of
    // that distance which a stroke covers, 0 for none; their brightness.
    hatch: vec4<f32>,
};

@group(0) @binding(0) var<uniform> globals: Globals;
@group(1) @binding(0) var<uniform> item: Item;

fn towards_eye(p: vec3<f32>) -> vec3<f32> {
    if globals.eye.w > 0.5 {
        return normalize(globals.eye.xyz - p);
    }
    return globals.eye.xyz;
}

fn clip_of(p: vec3<f32>) -> vec4<f32> {
    return globals.clip_from_model * vec4<f32>(p, 1.0);
}

// At its place in the picture, but as deep as if it were some pixels, and what the item asks for, nearer
// to the eye.
fn lifted(p: vec3<f32>, pixels: f32) -> vec4<f32> {
    var clip = clip_of(p);
    if pixels == 0.0 && item.over.x == 0.0 {
        return clip;
    }
    var nearer = p + globals.eye.xyz * (globals.size.w * pixels + item.over.x);
    if globals.eye.w > 0.5 {
        let way = globals.eye.xyz - p;
        let share = globals.size.z * pixels + item.over.x / max(length(way), 1e-20);
        nearer = p + way * min(share, 0.9);
    }
    let up = clip_of(nearer);
    // In front of where the view begins there is nothing nearer; behind it the place itself tells.
    if clip.z < clip.w {
        clip.z = min(select(1.0, up.z / up.w, up.w > 0.0), 1.0) * clip.w;
    }
    return clip;
}

struct Lit {
    // The same to the bit in both passes over ghosts.
    @builtin(position) @invariant clip: vec4<f32>,
    @location(0) normal: vec3<f32>,
    @location(1) at: vec3<f32>,
    @location(2) colour: vec4<f32>,
};

@vertex
fn mesh_vertex(@location(0) at: vec3<f32>, @location(1) normal: vec3<f32>, @location(2) colour: vec4<f32>) -> Lit {
    var out: Lit;
    out.clip = lifted(at, 0.0);
    out.normal = normal;
    out.at = at;
    out.colour = colour;
    return out;
}

@fragment
fn mesh_fragment(in: Lit, @builtin(front_facing) outside: bool) -> @location(0) vec4<f32> {
    let eye = towards_eye(in.at);
    var normal = normalize(in.normal);
    var base = item.colour.rgb;
    if item.numbers.z > 0.5 {
        base = in.colour.rgb;
    }
    // By the face: the normal at its corners may point away where a round body ends.
    if !outside {
        normal = -normal;
        base = item.inside.rgb;
    }
    if outside && item.hatch.z > 0.0 {
        let off = abs(fract(dot(in.clip.xy, item.hatch.xy)) - 0.5);
        let inside_by = (item.hatch.z * 0.5 - off) / length(item.hatch.xy);
        base = mix(base, base * item.hatch.w, clamp(inside_by + 0.5, 0.0, 1.0));
    }
    // A lamp over the left shoulder, a weaker one from the right, and light from all around.
    let forward = eye;
    let key = normalize(forward * 0.75 - globals.right.xyz * 0.45 + globals.up.xyz * 0.55);
    let fill = normalize(forward * 0.5 + globals.right.xyz * 0.8 - globals.up.xyz * 0.1);
    let sky = 0.5 + 0.5 * dot(normal, globals.up.xyz);
    let light = 0.30 + 0.14 * sky + 0.52 * max(dot(normal, key), 0.0) + 0.14 * max(dot(normal, fill), 0.0);
    return vec4<f32>(base * min(light, 1.08), item.numbers.x);
}

// For depth alone.
@fragment
fn depth_fragment() -> @location(0) vec4<f32> {
    return vec4<f32>(0.0);
}

const NOWHERE = vec4<f32>(0.0, 0.0, -1.0, 1.0);

struct Line {
    @builtin(position) clip: vec4<f32>,
    @location(0) colour: vec4<f32>,
    // Across the line, pixels from its middle, and 1; both times the depth, so that their ratio is even
    // over the picture. (Interpolation without perspective fails on some devices where triangles are cut.)
    @location(1) across: vec2<f32>,
    // Along the line, pixels at the target's depth.
    @location(2) along: f32,
};

// How far a place is on this side of where the view begins: negative for what is behind the eye.
fn ahead(p: vec3<f32>) -> f32 {
    let clip = clip_of(p);
    return clip.w - clip.z;
}

fn in_pixels(clip: vec4<f32>) -> vec2<f32> {
    return clip.xy / clip.w * globals.size.xy * 0.5;
}

fn unit(v: vec2<f32>) -> vec2<f32> {
    let long = length(v);
    return select(vec2<f32>(1.0, 0.0), v / long, long > 1e-6);
}

@vertex
fn line_vertex(
    @builtin(vertex_index) corner: u32,
    @location(0) from_at: vec3<f32>,
    @location(1) to_at: vec3<f32>,
    @location(2) before: vec3<f32>,
    @location(3) after: vec3<f32>,
    @location(4) length_before: f32,
    @location(5) colour: vec4<f32>,
) -> Line {
    var out: Line;
    out.colour = colour;
    let ahead_from = ahead(from_at);
    let ahead_to = ahead(to_at);
    out.clip = NOWHERE;
    if ahead_from <= 0.0 && ahead_to <= 0.0 {
        return out;
    }
    // What lies behind the eye is cut away; divided by its negative depth it would land anywhere.
    var a = from_at;
    var b = to_at;
    let crossing = mix(from_at, to_at, clamp(ahead_from / (ahead_from - ahead_to), 0.0, 1.0));
    if ahead_from < 0.0 { a = crossing; }
    if ahead_to < 0.0 { b = crossing; }
    let width = item.numbers.y * 0.5 + 0.5;
    // Half a width and a bit, so that nothing is cut off where a face is seen at a slant.
    let lift = item.numbers.y * 0.5 + 1.75;
    let clip_a = lifted(a, lift);
    let clip_b = lifted(b, lift);
    let direction = unit(in_pixels(clip_b) - in_pixels(clip_a));
    let across = vec2<f32>(-direction.y, direction.x);
    let at_end = corner == 1u || corner == 2u || corner == 4u;
    let side = select(-1.0, 1.0, corner == 2u || corner == 4u || corner == 5u);
    let own = select(from_at, to_at, at_end);
    let own_ahead = select(ahead_from, ahead_to, at_end);
    let neighbour = select(before, after, at_end);
    // An end reaches out a little; a joint is cut along the line that halves its angle, so that pieces
    // neither overlap, which would show where they are faint, nor gape.
    var offset = across * side * width + direction * select(-0.5, 0.5, at_end) * width;
    if any(neighbour != own) && own_ahead > 0.0 && ahead(neighbour) > 0.0 {
        let there = in_pixels(clip_of(neighbour));
        let here = in_pixels(clip_of(own));
        let onward = unit(select(here - there, there - here, at_end));
        // Sharper corners would reach out too far.
        if dot(direction, onward) > -0.3 {
            let halving = unit(direction + onward);
            let mitre = vec2<f32>(-halving.y, halving.x);
            offset = mitre * side * width / dot(mitre, across);
        }
    }
    var clip = select(clip_a, clip_b, vec4<bool>(at_end));
    clip.x += offset.x / (globals.size.x * 0.5) * clip.w;
    clip.y += offset.y / (globals.size.y * 0.5) * clip.w;
    out.clip = clip;
    out.across = vec2<f32>(side * width, 1.0) * clip.w;
    out.along = (length_before + distance(from_at, select(a, b, at_end))) / globals.size.w;
    return out;
}

@fragment
fn line_fragment(in: Line) -> @location(0) vec4<f32> {
    var cover = clamp(item.numbers.y * 0.5 + 0.5 - abs(in.across.x / in.across.y), 0.0, 1.0);
    let dash = item.numbers.w;
    if dash > 0.0 {
        // From the middle of a dash, three fifths of the whole.
        let off = abs(fract(in.along / dash) - 0.3);
        cover *= clamp((0.3 - min(off, 1.0 - off)) * dash + 0.5, 0.0, 1.0);
    }
    return vec4<f32>(in.colour.rgb, in.colour.a * cover * item.numbers.x);
}

struct Mark {
    @builtin(position) clip: vec4<f32>,
    @location(0) colour: vec4<f32>,
    // Pixels from its middle.
    @location(1) place: vec2<f32>,
    @location(2) @interpolate(flat) radius: f32,
    @location(3) @interpolate(flat) shape: u32,
};

@vertex
fn mark_vertex(
    @builtin(vertex_index) corner: u32,
    @location(0) at: vec3<f32>,
    @location(1) pixels: f32,
    @location(2) colour: vec4<f32>,
    @location(3) shape: u32,
) -> Mark {
    var out: Mark;
    out.clip = NOWHERE;
    if ahead(at) <= 0.0 {
        return out;
    }
    let radius = pixels * 0.5 * globals.right.w;
    // By its radius and a bit: whole on faces up to 45° aslant.
    var clip = lifted(at, radius + 1.75);
    let reach = radius + 0.5;
    let x = select(-reach, reach, corner == 1u || corner == 2u || corner == 4u);
    let y = select(-reach, reach, corner == 2u || corner == 4u || corner == 5u);
    clip.x += x / (globals.size.x * 0.5) * clip.w;
    clip.y += y / (globals.size.y * 0.5) * clip.w;
    out.clip = clip;
    out.colour = colour;
    out.place = vec2<f32>(x, y);
    out.radius = radius;
    out.shape = shape;
    return out;
}

// How deep within a regular polygon with a corner on top, in the circle of a radius.
fn within_polygon(place: vec2<f32>, corners: f32, radius: f32) -> f32 {
    const PI = 3.14159265;
    let from_corner = fract(atan2(place.x, place.y) / (2.0 * PI) * corners) - 0.5;
    let from_side = from_corner * 2.0 * PI / corners;
    return radius * cos(PI / corners) - length(place) * cos(from_side);
}

@fragment
fn mark_fragment(in: Mark) -> @location(0) vec4<f32> {
    let radius = in.radius;
    var deep = radius - length(in.place);
    if in.shape == 1u { deep = radius * 0.886 - max(abs(in.place.x), abs(in.place.y)); }
    if in.shape == 2u { deep = within_polygon(in.place, 4.0, radius); }
    if in.shape == 4u { deep = within_polygon(in.place, 3.0, radius); }
    if in.shape == 5u { deep = within_polygon(in.place, 5.0, radius); }
    var cover = clamp(deep + 0.5, 0.0, 1.0);
    let outline = clamp(radius * 0.26, globals.right.w, 2.0 * globals.right.w);
    if in.shape == 3u {
        cover *= clamp(2.0 * outline + radius * 0.16 - deep + 0.5, 0.0, 1.0);
    }
    if cover == 0.0 { discard; }
    let colour = mix(item.colour.rgb, in.colour.rgb, clamp(deep - outline + 0.5, 0.0, 1.0));
    return vec4<f32>(colour, in.colour.a * cover * item.numbers.x);
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
    out.clip = vec4<f32>(x, y, 0.0, 1.0);
    out.share = 0.5 + 0.5 * y;
    return out;
}

@fragment
fn ground_fragment(in: Ground) -> @location(0) vec4<f32> {
    return vec4<f32>(mix(item.inside.rgb, item.colour.rgb, in.share), 1.0);
}
