"""The renderer's programs, in GLSL 3.30."""

from __future__ import annotations

from typing import Final

N_BONES: Final = 104
N_CAPSULES: Final = 45

_OPEN_SKY: Final = """
uniform vec4 capsule_start[45];
uniform vec3 capsule_end[45];
uniform vec4 bounds[3];
// How much of the sky the bodies nearby take away (capsules as spheres at their nearest point).
float open_sky(vec3 at, vec3 n) {
  float open = 1.0;
  for (int person = 0; person < 3; person++) {
    vec3 off = at - bounds[person].xyz;
    if (dot(off, off) > bounds[person].w * bounds[person].w) continue;
    for (int k = 0; k < 15; k++) {
      int i = person * 15 + k;
      vec3 a = capsule_start[i].xyz, b = capsule_end[i] - a;
      float t = clamp(dot(at - a, b) / (dot(b, b) + 1e-6), 0.0, 1.0);
      vec3 d = a + t * b - at;
      float r = capsule_start[i].w * 0.92, far = max(dot(d, d), 1e-6);
      float facing = dot(n, d) * inversesqrt(far);
      open *= 1.0 - 0.85 * clamp(facing + 0.15, 0.0, 1.0) * min(r * r / far, 1.0);
    }
  }
  return open;
}
"""

_VERTEX: Final = """
#version 330
uniform mat4 camera;
"""

PERSON_VERTEX: Final = (
    _VERTEX
    + _OPEN_SKY
    + """
uniform sampler2D bones;
in vec3 in_place; in vec3 in_normal; in vec4 in_bones; in vec4 in_weights;
out vec3 world; out vec3 normal; out vec3 rest; out vec3 rest_normal; out float sky;
mat4x3 bone(int i) {
  vec4 a = texelFetch(bones, ivec2(0, i), 0), b = texelFetch(bones, ivec2(1, i), 0);
  vec4 c = texelFetch(bones, ivec2(2, i), 0);
  return transpose(mat3x4(a, b, c));
}
void main() {
  mat4x3 m = in_weights.x * bone(int(in_bones.x)) + in_weights.y * bone(int(in_bones.y))
           + in_weights.z * bone(int(in_bones.z)) + in_weights.w * bone(int(in_bones.w));
  world = m * vec4(in_place, 1.0);
  // Flesh and cloth give way to the mat instead of sinking in.
  float low = 0.012;
  world.z = world.z > low ? world.z : low * exp((world.z - low) / low * 0.15);
  normal = mat3(m) * in_normal;
  rest = in_place; rest_normal = in_normal;
  sky = open_sky(world, normalize(normal));
  gl_Position = camera * vec4(world, 1.0);
}
"""
)

HALL_VERTEX: Final = (
    _VERTEX
    + _OPEN_SKY
    + """
in vec3 in_place; in vec3 in_normal; in vec3 in_colour;
out vec3 world; out vec3 normal; out vec3 colour; out float sky;
void main() {
  world = in_place; normal = in_normal; colour = in_colour;
  sky = open_sky(world, normal);
  gl_Position = camera * vec4(in_place, 1.0);
}
"""
)

SHADOW_VERTEX: Final = PERSON_VERTEX.replace("  sky = open_sky(world, normalize(normal));\n", "")
"""The same without the open-sky term."""

SHADOW_FRAGMENT: Final = """
#version 330
void main() {}
"""

_LIGHT: Final = """
#version 330
uniform vec3 eye;
uniform mat4 light_camera;
uniform vec3 light_way;
uniform sampler2DShadow shadow;
out vec4 shown;

float hash(vec3 p) {
  p = fract(p * vec3(0.1031, 0.1030, 0.0973)); p += dot(p, p.yxz + 33.33);
  return fract((p.x + p.y) * p.z);
}
float noise(vec3 p) {
  vec3 i = floor(p), f = fract(p); f = f * f * (3.0 - 2.0 * f);
  return mix(mix(mix(hash(i), hash(i + vec3(1,0,0)), f.x),
                 mix(hash(i + vec3(0,1,0)), hash(i + vec3(1,1,0)), f.x), f.y),
             mix(mix(hash(i + vec3(0,0,1)), hash(i + vec3(1,0,1)), f.x),
                 mix(hash(i + vec3(0,1,1)), hash(i + vec3(1,1,1)), f.x), f.y), f.z);
}
float lit(vec3 at, vec3 n) {
  vec4 q = light_camera * vec4(at + n * 0.012, 1.0);
  vec3 s = q.xyz * 0.5 + 0.5;
  if (any(lessThan(s, vec3(0.0))) || any(greaterThan(s, vec3(1.0)))) return 1.0;
  float sum = 0.0; float step = 1.0 / 1536.0;
  for (int i = -1; i <= 1; i += 2) for (int j = -1; j <= 1; j += 2)
    sum += texture(shadow, vec3(s.xy + vec2(i, j) * step, s.z - 0.0012));
  return sum / 4.0;
}
vec3 shade(vec3 base, vec3 at, vec3 n, float sky, float wrap, float gloss) {
  vec3 v = normalize(eye - at);
  float sun = lit(at, n);
  float key = max((dot(n, light_way) + wrap) / (1.0 + wrap), 0.0) * sun;
  float fill = max(dot(n, normalize(vec3(0.7, -0.5, 0.45))), 0.0);
  vec3 ambient = mix(vec3(0.24, 0.22, 0.20), vec3(0.52, 0.55, 0.60), n.z * 0.5 + 0.5);
  vec3 light = (ambient + vec3(0.10, 0.11, 0.13) * fill) * sky
             + vec3(0.72, 0.68, 0.61) * key * mix(1.0, sky, 0.35);
  vec3 half_way = normalize(v + light_way);
  float shine = pow(max(dot(n, half_way), 0.0), 28.0) * gloss * sun;
  return base * light + vec3(shine);
}
vec3 to_screen(vec3 c) {
  c = max(c, 0.0);
  c = c * (1.0 + c * 0.12) / (1.0 + c * 0.32);
  return pow(c * 1.12, vec3(1.0 / 2.2));
}
"""

HALL_FRAGMENT: Final = (
    _LIGHT
    + """
uniform int is_mat;
uniform vec2 mat_half;
in vec3 world; in vec3 normal; in vec3 colour; in float sky;
void main() {
  vec3 n = normalize(normal), base = colour;
  float gloss = 0.0;
  if (is_mat == 1) {
    bool inner = all(lessThan(abs(world.xy), mat_half - 2.0));
    base = inner ? vec3(0.20, 0.335, 0.30) : vec3(0.62, 0.43, 0.16);
    vec2 tile = fract(world.xy + 0.5);
    vec2 edge = min(tile, 1.0 - tile);
    float away = length(eye - world);
    float seam = 1.0 - smoothstep(0.0, 0.004 + 0.0012 * away, min(edge.x, edge.y));
    base *= 1.0 - 0.30 * seam;
    vec2 cell = floor(world.xy + 0.5);
    base *= 0.97 + 0.06 * hash(vec3(cell, 3.0));
    base *= 0.96 + 0.08 * noise(vec3(world.xy * 2.3, 0.0));
    gloss = 0.05;
  } else if (n.z > 0.9 && world.z < 0.01) {
    float plank = floor(world.y * 6.0);
    float board = floor(world.x * 0.6 + hash(vec3(plank, 1.0, 2.0)) * 5.0);
    base *= 0.88 + 0.2 * hash(vec3(plank, board, 1.0));
    gloss = 0.05;
  } else if (world.z < 1.3 && abs(n.z) < 0.1) {
    base *= 0.93 + 0.1 * step(0.06, fract((world.x + world.y) * 1.6));
  }
  shown = vec4(to_screen(shade(base, world, n, sky, 0.0, gloss)), 1.0);
}
"""
)


def hall_fragment(inner: tuple[float, ...], outer: tuple[float, ...]) -> str:
    """The hall's shader with the mat in other linear colours."""

    def written(colour: tuple[float, ...]) -> str:
        return f"vec3({', '.join(f'{part:.4f}' for part in colour)})"

    shader = HALL_FRAGMENT.replace("vec3(0.20, 0.335, 0.30)", written(inner))
    return shader.replace("vec3(0.62, 0.43, 0.16)", written(outer))


PERSON_FRAGMENT: Final = (
    _LIGHT
    + """
uniform int part;
uniform vec3 colour;
uniform vec3 hair_colour;
uniform vec3 eye_rest;
uniform vec3 nose_rest;
uniform float waist;
uniform float neck;
in vec3 world; in vec3 normal; in vec3 rest; in vec3 rest_normal; in float sky;

float lapel_edge(float z) {
  return 0.074 - 0.125 * (neck - 0.045 - z) / (neck - 0.045 - waist);
}

// Collar and lapels, the wearer's left over the right: how near the band; cuts the neck out.
float lapels(vec3 p, out bool cut, out float line) {
  cut = false; line = 0.0;
  float across = abs(p.x);
  bool front = p.y < -0.015 && rest_normal.y < 0.25;
  if (front && across < 0.16) {
    float edge = lapel_edge(p.z);
    cut = across < edge && p.z > waist;
    float left = p.x - edge, right = -p.x - edge;
    float d = left > 0.0 ? left : right;
    line = 1.0 - smoothstep(0.0, 0.006, abs(d));
    line += 0.7 * (1.0 - smoothstep(0.0, 0.005, abs(d - 0.046)));
    return 1.0 - smoothstep(0.044, 0.048, d);
  }
  float top = mix(neck - 0.04, neck + 0.012, smoothstep(-0.03, 0.04, p.y));
  if (across < 0.12 && p.z > top) cut = true;
  float d = top - p.z;
  line = across < 0.12 ? 0.7 * (1.0 - smoothstep(0.0, 0.005, abs(d - 0.046))) : 0.0;
  return across < 0.12 ? 1.0 - smoothstep(0.044, 0.048, d) : 0.0;
}
vec3 bumped(vec3 n, float depth, vec3 scale) {
  vec3 p = rest * scale; float e = 0.35;
  float h = noise(p);
  vec3 g = vec3(noise(p + vec3(e,0,0)), noise(p + vec3(0,e,0)), noise(p + vec3(0,0,e)));
  g = (g - h) / e;
  return normalize(n - depth * (g - dot(g, rest_normal) * rest_normal));
}
vec3 face(vec3 base) {
  vec3 p = vec3(abs(rest.x), rest.yz);
  vec3 to_eye = p - eye_rest;
  base *= 0.94 + 0.12 * noise(rest * 45.0);
  vec3 cheek = p - vec3(0.045, nose_rest.y + 0.035, nose_rest.z - 0.005);
  float flush = 0.7 * (1.0 - smoothstep(0.015, 0.05, length(cheek)));
  base = mix(base, base * vec3(1.08, 0.80, 0.78), flush);
  vec3 mouth = p - vec3(0.0, nose_rest.y + 0.02, nose_rest.z - 0.048);
  if (abs(mouth.z) < 0.009 && p.x < 0.026 && rest_normal.y < 0.1)
    base = mix(base, vec3(0.36, 0.14, 0.12), 0.65 * (1.0 - smoothstep(0.004, 0.009, abs(mouth.z))));
  float brow = (1.0 - smoothstep(0.004, 0.008, abs(to_eye.z - 0.024 + 0.25 * abs(to_eye.x))))
             * (1.0 - smoothstep(0.016, 0.024, abs(to_eye.x))) * step(rest_normal.y, -0.2);
  base = mix(base, hair_colour, 0.85 * brow);
  float round_eye = length(to_eye);
  if (round_eye < 0.0168 && part == 0 && rest.y < eye_rest.y) {
    float iris = length(to_eye.xz);
    if (iris < 0.0125 && abs(to_eye.z) < 0.0065)
      base = iris < 0.0058 ? vec3(0.05, 0.03, 0.02) : vec3(0.68, 0.66, 0.63);
  }
  return base;
}
void main() {
  vec3 n = normalize(normal);
  vec3 v = normalize(eye - world);
  bool inside = dot(n, v) < 0.0 && !gl_FrontFacing;
  if (!gl_FrontFacing) n = -n;
  vec3 base = colour; float wrap = 0.15, gloss = 0.0, dim = 1.0;
  if (part == 0) {
    base = face(base); wrap = 0.25; gloss = 0.05;
  } else if (part == 5) {
    vec3 p = rest - vec3(0.0, eye_rest.y, eye_rest.z);
    float line = dot(p, normalize(vec3(0.0, 0.62, 0.78))) - 0.050;
    line += 0.22 * abs(p.x) - 0.010 * noise(rest * 70.0);
    if (line < 0.0 && p.y < 0.13) discard;
    if (p.z < -0.07) discard;
    base = hair_colour * (0.7 + 0.6 * noise(rest * vec3(160.0, 160.0, 30.0)));
    gloss = 0.04;
  } else {
    if (part == 1 || part == 3) {
      bool cut; float line;
      float band = lapels(rest, cut, line);
      if (part == 3 && (rest.z > waist - 0.015)) discard;
      if (part == 1 && rest.z < waist - 0.05) discard;
      if (cut) discard;
      if (part == 3) band *= step(abs(rest.x), 0.15);
      base = mix(base, base * 1.07 + 0.012, band);
      dim = 1.0 - 0.42 * clamp(line, 0.0, 1.0);
      n = mix(n, bumped(n, 0.34, vec3(16.0, 16.0, 9.0)), 1.0 - 0.7 * band);
    } else if (part == 6) {
      float top = mix(neck - 0.055, neck + 0.0, smoothstep(-0.06, 0.04, rest.y));
      if (abs(rest.x) < 0.12 && rest.z > top) discard;
      n = bumped(n, 0.3, vec3(14.0, 14.0, 8.0));
    } else if (part == 4) {
      if (rest.z < waist - 0.19 && rest.z > waist - 0.255 && rest.x > 0.0) base = vec3(0.015);
    } else {
      n = bumped(n, 0.40, vec3(14.0, 14.0, 8.0));
    }
    base *= 0.95 + 0.08 * noise(rest * 30.0);
    if (inside) dim *= 0.6;
    base += 0.05 * colour * pow(1.0 - abs(dot(n, v)), 3.0);
  }
  float near_mat = clamp(0.55 + world.z * 3.0, 0.0, 1.0);
  float open = sky * mix(1.0, near_mat, 0.6 * clamp(0.6 - n.z, 0.0, 1.0));
  shown = vec4(to_screen(shade(base * dim, world, n, open, wrap, gloss)), 1.0);
}
"""
)
