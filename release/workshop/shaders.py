"""The shaders of drawing.py (OpenGL 4.3)."""

_SHARED = """
#version 430
struct Rows { vec4 r[3]; };
layout(std430, binding = 4) readonly buffer Balls { Rows ball[]; };
layout(std430, binding = 5) readonly buffer Cameras { Rows camera[]; };
layout(std430, binding = 6) readonly buffer Settings { vec4 setting[]; };  // lens, then draw_light's rows
layout(std430, binding = 7) readonly buffer Looks { vec4 look[]; };
uniform ivec2 grid, tile, moment;
uniform vec2 depth, shift;
const int LOOKS = 13;
const float BALL_M = 0.0366;

vec3 apply(Rows m, vec3 p) { return vec3(dot(m.r[0].xyz, p), dot(m.r[1].xyz, p), dot(m.r[2].xyz, p)); }
vec3 place(Rows m, vec3 p) { return apply(m, p) + vec3(m.r[0].w, m.r[1].w, m.r[2].w); }
"""

_PROJECT = """
out float gl_ClipDistance[4];
void project(vec3 world, int instance) {
    vec3 c = place(camera[instance * moment.y + moment.x], world);
    vec4 lens = setting[instance * 4];
    float u = lens.x * c.x + (lens.z + shift.x) * c.z, v = lens.y * c.y + (lens.w + shift.y) * c.z;
    gl_ClipDistance[0] = u;
    gl_ClipDistance[1] = float(tile.x) * c.z - u;
    gl_ClipDistance[2] = v;
    gl_ClipDistance[3] = float(tile.y) * c.z - v;
    vec2 corner = vec2(ivec2(instance % grid.x, instance / grid.x) * tile), size = vec2(grid * tile);
    vec2 xy = 2.0 * (corner * c.z + vec2(u, v)) / size - c.z;
    float n = depth.x, f = depth.y;
    gl_Position = vec4(xy, (c.z * (f + n) - 2.0 * f * n) / (f - n), c.z);
}
"""

BODY_VERTEX = (
    _SHARED
    + _PROJECT
    + """
layout(std430, binding = 0) readonly buffer PlaceNormal { float placeNormal[]; };
layout(std430, binding = 1) readonly buffer Skinning { float skinning[]; };
layout(std430, binding = 2) readonly buffer Region { float region[]; };
layout(std430, binding = 3) readonly buffer Bones { Rows bone[]; };
layout(std430, binding = 8) readonly buffer Which { int which[]; };
uniform int bones, vertices;
flat out int instance;
out vec3 vNormal, vRest, vWorld;
out vec2 vRegion;  // along the arm, height in the head
flat out int kind;  // of a whole triangle: between two kinds lie others, whose colour would mark every seam

void main() {
    instance = gl_InstanceID;
    int at = (which[instance] * vertices + gl_VertexID) * 6;
    vec3 p = vec3(placeNormal[at], placeNormal[at + 1], placeNormal[at + 2]);
    vec3 n = vec3(placeNormal[at + 3], placeNormal[at + 4], placeNormal[at + 5]);
    vRegion = vec2(region[gl_VertexID * 3 + 1], region[gl_VertexID * 3 + 2]);
    vec4 cloth = look[instance * LOOKS + 9];  // looseness of shirt, of trousers, glove, forearm sleeve
    kind = int(region[gl_VertexID * 3] + 0.5);
    float loose = kind == 1 ? cloth.x : kind == 2 ? cloth.y : kind == 5 ? cloth.z : 0.0;
    if (kind == 3) loose = look[instance * LOOKS + 10].w;  // arm and fingers fuller or leaner
    if (kind == 3 && vRegion.x < look[instance * LOOKS + 8].x) loose = cloth.w;
    vec3 dressed = p + n * loose;
    vec3 world = vec3(0), normal = vec3(0);
    int first = (instance * moment.y + moment.x) * bones;
    for (int k = 0; k < 4; k++) {
        int s = (gl_VertexID * 4 + k) * 2;
        Rows m = bone[first + int(skinning[s] + 0.5)];
        world += skinning[s + 1] * place(m, dressed);
        normal += skinning[s + 1] * apply(m, n);
    }
    vNormal = normal;
    vRest = p;
    vWorld = world;
    project(world, instance);
}
"""
)

_LIGHT = """
float hash(vec3 p) { return fract(sin(dot(p, vec3(127.1, 311.7, 74.7))) * 43758.5453); }
float noise(vec3 p) {
    vec3 i = floor(p), f = fract(p);
    f = f * f * (3.0 - 2.0 * f);
    float r[8];
    for (int k = 0; k < 8; k++) r[k] = hash(i + vec3(k & 1, (k >> 1) & 1, k >> 2));
    vec4 a = mix(vec4(r[0], r[2], r[4], r[6]), vec4(r[1], r[3], r[5], r[7]), f.x);
    vec2 b = mix(a.xz, a.yw, f.y);
    return mix(b.x, b.y, f.z);
}
vec2 shade(vec3 n, vec3 world, vec3 sun) {  // how much sun and sky the ball leaves to a place on the body
    Rows m = ball[instance * moment.y + moment.x];
    vec3 off = vec3(m.r[0].w, m.r[1].w, m.r[2].w) - world;
    float far = max(length(off), BALL_M), along = dot(off, sun), size = BALL_M / far;
    float beside = sqrt(max(dot(off, off) - along * along, 0.0));
    float hidden = (1.0 - smoothstep(0.8 * BALL_M, 1.1 * BALL_M, beside)) * step(0.0, along);
    return vec2(1.0 - hidden, 1.0 - size * size * max(dot(n, off / far), 0.0));
}
vec3 lit(vec3 colour, vec3 normal, vec3 world, float shine, bool shaded) {
    vec4 way = setting[instance * 4 + 1];
    vec3 sun = setting[instance * 4 + 2].rgb, sky = setting[instance * 4 + 3].rgb, n = normalize(normal);
    float even = setting[instance * 4 + 2].a, edge = setting[instance * 4 + 3].a;
    Rows cam = camera[instance * moment.y + moment.x];
    vec3 eye = -vec3(cam.r[0].x * cam.r[0].w + cam.r[1].x * cam.r[1].w + cam.r[2].x * cam.r[2].w,
                     cam.r[0].y * cam.r[0].w + cam.r[1].y * cam.r[1].w + cam.r[2].y * cam.r[2].w,
                     cam.r[0].z * cam.r[0].w + cam.r[1].z * cam.r[1].w + cam.r[2].z * cam.r[2].w);
    vec3 toEye = normalize(eye - world);
    float ndl = dot(n, way.xyz), wrap = way.w;
    vec2 left = shaded ? shade(n, world, way.xyz) : vec2(1.0);
    float direct = left.x * max((ndl + wrap) / (1.0 + wrap), 0.0);
    float above = mix(0.5 + 0.5 * n.z, 1.0, even);  // how much of the sky's light a place gets
    vec3 half_ = normalize(way.xyz + toEye);
    float gloss = shine * pow(max(dot(n, half_), 0.0), 24.0) * step(0.0, ndl);
    float rim = edge * pow(1.0 - max(dot(n, toEye), 0.0), 3.0);
    return colour * (sun * direct + left.y * sky * (above + rim)) + left.x * sun * gloss;
}
"""

BODY_FRAGMENT = (
    _SHARED
    + """
flat in int instance, kind;
in vec3 vNormal, vRest, vWorld;
in vec2 vRegion;
out vec4 colour;
"""
    + _LIGHT
    + """
void main() {
    int base = instance * LOOKS;
    vec4 cut = look[base + 8];  // sleeve end, band from, band to, hair line
    vec3 c = look[base].rgb;  // skin
    float shine = look[base].a, fold = 0.0;
    float fine = look[base + 3].a;  // how closely skin is mottled
    float mottle = 1.0 + look[base + 2].a * (noise(vRest * 60.0 * fine) * noise(vRest * 17.0 * fine) - 0.25);
    if (kind == 1) { c = look[base + 1].rgb; fold = 1.0; }
    if (kind == 2) { c = look[base + 2].rgb; fold = 1.0; }
    if (kind == 3 || kind == 7) {
        if (vRegion.x < cut.x) { c = vRegion.x < 0.55 ? look[base + 1].rgb : look[base + 3].rgb; fold = 1.0; }
        if (vRegion.x > cut.y && vRegion.x < cut.z) { c = look[base + 4].rgb; shine = 0.3; }
    }
    if (kind == 4) {
        if (vRegion.y > cut.w) c = look[base + 5].rgb;
        else if (vRegion.y > cut.w - 0.08) c *= 0.8;
        if (vRegion.y < look[base + 1].a) { c = look[base + 1].rgb; fold = 1.0; }  // the collar
    }
    if (kind == 5) { c = look[base + 6].rgb; shine = 0.12; }
    if (kind == 6) { c = look[base + 7].rgb; shine = 0.15; }
    if (kind == 8) {  // nails
        c = mix(c, vec3(0.85, 0.66, 0.6) * (0.35 + c), 0.5); shine += 0.2;
    }
    if (fold > 0.5) {
        fine = look[base + 5].a;  // how closely cloth is mottled, woven and folded
        mottle = 1.0 + look[base + 4].a * (noise(vRest * fine * vec3(14.0, 14.0, 9.0)) - 0.5);
        mottle += look[base + 10].x * (noise(vRest * 160.0 * fine) - 0.5);
        float stripe = step(0.5, fract(vRest.x * look[base + 10].y)) * look[base + 10].z;
        c = mix(c, look[base + 3].rgb, stripe);
        shine = 0.02;
    }
    vec3 at = vRest * 22.0 * fine;
    vec3 bump = fold * look[base + 6].a * (vec3(noise(at), noise(at + 7.0), noise(at + 13.0)) - 0.5);
    colour = vec4(lit(c * mottle, vNormal + bump, vWorld, shine, true), 1.0);
}
"""
)

BALL_VERTEX = (
    _SHARED
    + _PROJECT
    + """
in vec3 onSphere;
flat out int instance;
out vec3 vNormal, vRest, vWorld;
void main() {
    instance = gl_InstanceID;
    Rows m = ball[instance * moment.y + moment.x];
    vec4 form = look[instance * LOOKS + 12];  // two exponents, shine, and what: 0 ball, 1 faceted, 2 smooth
    vec3 p = onSphere, normal = onSphere;
    if (form.w > 0.5) {  // a superquadric about the first axis (Barr, 1981), the sphere drawn in or out to it
        vec3 q = max(abs(p), 0.02);  // higher powers of less are none in single precision
        float round_ = pow(q.y, 2.0 / form.y) + pow(q.z, 2.0 / form.y);
        float size = pow(q.x, 2.0 / form.x) + pow(round_, form.y / form.x);
        vec3 slope = vec3(pow(q.x, 2.0 / form.x - 1.0),
                          pow(round_, form.y / form.x - 1.0) * pow(q.yz, vec2(2.0 / form.y - 1.0)));
        p *= pow(size, -form.x / 2.0);
        mat3 turn = mat3(m.r[0].xyz, m.r[1].xyz, m.r[2].xyz);  // its transpose takes the sphere to the world
        normal = inverse(turn) * (sign(onSphere) * slope);
        vNormal = normalize(normal);
    } else {
        vNormal = apply(m, normal);
    }
    vRest = onSphere;
    vWorld = place(m, p * BALL_M);
    project(vWorld, instance);
}
"""
)

BALL_FRAGMENT = (
    _SHARED
    + """
flat in int instance;
in vec3 vNormal, vRest, vWorld;
out vec4 colour;
"""
    + _LIGHT
    + """
void main() {
    vec3 p = normalize(vRest), c = look[instance * LOOKS + 11].rgb;
    float dirt = look[instance * LOOKS + 11].a;
    c *= 1.0 - dirt * noise(p * 5.0);
    vec4 form = look[instance * LOOKS + 12];
    if (form.w > 0.5) {  // no ball but a thing
        vec3 n = form.w > 1.5 ? vNormal : cross(dFdx(vWorld), dFdy(vWorld));
        Rows cam = camera[instance * moment.y + moment.x];
        vec3 t = vec3(cam.r[0].w, cam.r[1].w, cam.r[2].w);
        vec3 eye = -(cam.r[0].xyz * t.x + cam.r[1].xyz * t.y + cam.r[2].xyz * t.z);
        n *= form.w > 1.5 ? 1.0 : sign(dot(n, eye - vWorld));
        colour = vec4(lit(c, n, vWorld, form.z, false), 1.0);
        return;
    }
    float seam = 9.0;
    for (int k = 0; k < 56; k++) {  // a closed curve on the sphere, as two strips of leather meet
        float t = 6.2831853 * float(k) / 56.0;
        float x = cos(t) * 0.74 + cos(3.0 * t) * 0.26, y = sin(t) * 0.74 - sin(3.0 * t) * 0.26;
        vec3 q = vec3(x, y, 0.877 * sin(2.0 * t));
        seam = min(seam, distance(p, normalize(q)));
    }
    c = mix(vec3(0.42, 0.05, 0.06) * (0.5 + c), c, smoothstep(0.04, 0.10, seam));
    colour = vec4(lit(c, vNormal, vWorld, 0.06, false), 1.0);
}
"""
)

QUAD = """
#version 430
void main() { gl_Position = vec4(vec2((gl_VertexID << 1) & 2, gl_VertexID & 2) * 2.0 - 1.0, 0, 1); }
"""

MIX = """
#version 430
uniform sampler2D sharp;
uniform float share;
out vec4 mean;
void main() { mean = share * texelFetch(sharp, ivec2(gl_FragCoord.xy), 0); }
"""

FINAL = """
#version 430
uniform sampler2D mean;
out vec4 coded;
void main() {
    vec4 c = texelFetch(mean, ivec2(gl_FragCoord.xy), 0);
    coded = vec4(sqrt(clamp(c.rgb, 0.0, 1.0)), c.a);
}
"""
