// Skinning, rasterising and shading of rendered pairs. One source for two compilers: NVRTC on a
// GPU, g++ on a CPU. Every kernel takes the number of items and a table of 64-bit arguments.
#ifdef ON_CPU
#include <math.h>
#include <string.h>
#define DEVICE static inline
typedef unsigned long long u64;
typedef unsigned int u32;
typedef unsigned char u8;
DEVICE u32 bits_of(float f) { u32 u; memcpy(&u, &f, 4); return u; }
DEVICE float float_of(u32 u) { float f; memcpy(&f, &u, 4); return f; }
DEVICE void keep_nearest(u64 *cell, u64 value) { if (value < *cell) *cell = value; }
#define KERNEL(name) extern "C" void run_##name(long long n, const u64 *a) { for (long long i = 0; i < n; i++) name(i, a); }
#else
#define DEVICE __device__ __forceinline__
typedef unsigned long long u64;
typedef unsigned int u32;
typedef unsigned char u8;
DEVICE u32 bits_of(float f) { return __float_as_uint(f); }
DEVICE float float_of(u32 u) { return __uint_as_float(u); }
DEVICE void keep_nearest(u64 *cell, u64 value) { if (value < *cell) atomicMin(cell, value); }
#define KERNEL(name) extern "C" __global__ void run_##name(long long n, const u64 *a) { long long i = (long long)blockIdx.x * blockDim.x + threadIdx.x; if (i < n) name(i, a); }
#endif
#define FLOATS(k) ((float *)a[k])
#define INTS(k) ((const int *)a[k])
#define BYTES(k) ((u8 *)a[k])
#define KEYS(k) ((u64 *)a[k])
#define NUMBER(k) ((long long)a[k])
#define NOTHING 0xffffffffffffffffULL
enum { TRUNK, UPPER_ARM, FOREARM, HAND, THIGH, SHANK, FOOT, NECK, HEAD };

// ---- noise --------------------------------------------------------------------------------
DEVICE u32 mix(u32 x) { x ^= x >> 16; x *= 0x7feb352dU; x ^= x >> 15; x *= 0x846ca68bU; return x ^ (x >> 16); }
DEVICE float chance(int x, int y, int z, u32 seed) {
  return (mix(x * 73856093u ^ mix(y * 19349663u ^ mix(z * 83492791u ^ seed))) & 0xffffff) / 16777216.f;
}
DEVICE float noise(float x, float y, float z, u32 seed) {
  int ix = (int)floorf(x), iy = (int)floorf(y), iz = (int)floorf(z);
  float fx = x - ix, fy = y - iy, fz = z - iz, sum = 0;
  fx = fx * fx * (3 - 2 * fx); fy = fy * fy * (3 - 2 * fy); fz = fz * fz * (3 - 2 * fz);
  for (int k = 0; k < 8; k++) {
    int dx = k & 1, dy = (k >> 1) & 1, dz = k >> 2;
    sum += chance(ix + dx, iy + dy, iz + dz, seed) * (dx ? fx : 1 - fx) * (dy ? fy : 1 - fy) * (dz ? fz : 1 - fz);
  }
  return sum;
}
DEVICE float cloud(float x, float y, float z, u32 seed) {
  return .55f * noise(x, y, z, seed) + .3f * noise(2.1f * x, 2.1f * y, 2.1f * z, seed + 1) + .15f * noise(4.3f * x, 4.3f * y, 4.3f * z, seed + 2);
}
DEVICE u32 seed_of(float share) { return (u32)(share * 16777216.f); }
DEVICE void blend(float *colour, const float *other, float share) { for (int k = 0; k < 3; k++) colour[k] += (other[k] - colour[k]) * share; }
DEVICE void scale(float *colour, float by) { for (int k = 0; k < 3; k++) colour[k] *= by; }
// Something like a letter: 1 inside a stroke. One letter a unit of u, v in 0..1.
DEVICE bool letter(float u, float v, u32 seed) {
  int cell = (int)floorf(u); float x = (u - cell) * 5.f, y = v * 6.f;
  if (x < .6f || y < .6f || y > 5.4f || chance(cell, 1, 1, seed) < .12f) return false;
  return chance(cell * 7 + (int)x, (int)y, 5, seed) < .6f;
}

// ---- what a body wears --------------------------------------------------------------------
// `rest` is the spot on the first body at rest, so looks don't depend on shape or pose.
DEVICE bool in_hair(const float *rest, const float *body, float ragged) {
  float z = rest[2] + ragged * .5f;
  return z > body[BODY_HAIRLINE_Z] + (rest[1] < body[BODY_HAIR_FRONT_Y] ? body[BODY_FRINGE] : 0.f);
}
DEVICE bool is_top(int part, const float *rest, float along, const float *body) {
  if (part == TRUNK) return rest[2] > body[BODY_WAIST_Z];
  if (part == UPPER_ARM || part == FOREARM) return true;
  return along < body[BODY_SKIRT_ALONG];
}
DEVICE bool is_cloth(int part, const float *rest, float along, float ragged, const float *body) {
  if (part == TRUNK) {
    if (rest[2] <= body[BODY_WAIST_Z]) return true;
    if (body[BODY_TOP_CLOTH] < .5f) return false;
    if (body[BODY_SINGLET] < .5f) return true;
    float up = rest[2] - body[BODY_WAIST_Z];  // straps: narrower towards the shoulders
    return up < .26f || fabsf(fabsf(rest[0]) - .095f) < .028f + (up < .34f ? .05f : 0.f);
  }
  if (part == UPPER_ARM || part == FOREARM) return body[BODY_TOP_CLOTH] > .5f && body[BODY_SINGLET] < .5f && along + ragged < body[BODY_SLEEVE_END];
  if (part == THIGH || part == SHANK) return along + ragged < body[BODY_LEG_END];
  return false;
}

// ---- skin: 0 rest 1 normal 2 shape[bodies] 3 transform[bodies,bones,12] 4 bone 5 weight 6 part
// 7 along 8 body rows 9 shift[bodies,3] 10 out position 11 out normal 12 vertices 13 bones
// 14 active[bodies]
DEVICE void skin(long long i, const u64 *a) {
  long long vertices = NUMBER(12), bones = NUMBER(13), who = i / vertices;
  int v = i % vertices;
  if (!INTS(14)[who]) return;
  int part = BYTES(6)[v];
  const float *rest = FLOATS(0) + v * 3;
  const float *p = FLOATS(0) + (INTS(2)[who] * vertices + v) * 3, *n = FLOATS(1) + (INTS(2)[who] * vertices + v) * 3;
  const float *body = FLOATS(8) + who * BODY_SIZE;
  float along = FLOATS(7)[v], f = body[BODY_LOOSE_FREQUENCY];
  u32 seed = seed_of(body[BODY_SEED]);
  float out = 0;
  if (part == HEAD) {
    if (in_hair(rest, body, 0.f)) out = body[BODY_HAIR_VOLUME] * (.5f + noise(rest[0] * 25, rest[1] * 25, rest[2] * 25, seed));
  } else if (part == FOOT) {
    out = body[BODY_SHOES] > .5f ? .007f : 0.f;
  } else if (is_cloth(part, rest, along, 0.f, body)) {
    float wave = .3f + 1.4f * noise(rest[0] * f, rest[1] * f, rest[2] * f * .6f, seed);
    out = body[BODY_LOOSENESS + part] * wave;
    if (part == UPPER_ARM || part == FOREARM || part == SHANK) out += body[BODY_FLARE] * along * along * wave;
    float below = body[BODY_WAIST_Z] - rest[2];
    if ((part == THIGH || part == TRUNK) && below > 0 && along < body[BODY_SKIRT_ALONG]) out += body[BODY_SKIRT_FLARE] * below * (.4f + 1.2f * noise(rest[0] * 9, rest[1] * 9, 0, seed + 3));
  }
  float x = p[0] + n[0] * out, y = p[1] + n[1] * out, z = p[2] + n[2] * out, q[3] = {0, 0, 0}, m[3] = {0, 0, 0};
  for (int k = 0; k < 4; k++) {
    float w = FLOATS(5)[v * 4 + k];
    if (w <= 0) continue;
    const float *t = FLOATS(3) + (who * bones + BYTES(4)[v * 4 + k]) * 12;
    for (int c = 0; c < 3; c++) {
      q[c] += w * (t[c * 4] * x + t[c * 4 + 1] * y + t[c * 4 + 2] * z + t[c * 4 + 3]);
      m[c] += w * (t[c * 4] * n[0] + t[c * 4 + 1] * n[1] + t[c * 4 + 2] * n[2]);
    }
  }
  for (int c = 0; c < 3; c++) { FLOATS(10)[i * 3 + c] = q[c] + FLOATS(9)[who * 3 + c]; FLOATS(11)[i * 3 + c] = m[c]; }
}
KERNEL(skin)

// ---- projecting and rasterising -----------------------------------------------------------
DEVICE bool project(const float *camera, const float *world, float side, float *out) {
  const float *r = camera + CAMERA_TURN, *eye = camera + CAMERA_EYE;
  float x = world[0] - eye[0], y = world[1] - eye[1], z = world[2] - eye[2], depth = r[6] * x + r[7] * y + r[8] * z;
  if (depth < .08f) return false;
  out[0] = ((r[0] * x + r[1] * y + r[2] * z) / depth - camera[CAMERA_CENTRE]) * camera[CAMERA_SCALE] + side * .5f;
  out[1] = ((r[3] * x + r[4] * y + r[5] * z) / depth - camera[CAMERA_CENTRE + 1]) * camera[CAMERA_SCALE + 1] + side * .5f;
  out[2] = depth;
  return true;
}
// raster: 0 position 1 faces 2 cameras 3 depth keys 4 vertices 5 faces count 6 side 7 active
// 8 bodies a picture
DEVICE void raster(long long i, const u64 *a) {
  long long vertices = NUMBER(4), faces = NUMBER(5), bodies = NUMBER(8), who = i / faces;
  int side = NUMBER(6), face = i % faces;
  if (!INTS(7)[who]) return;
  long long picture = who / bodies;
  const int *t = INTS(1) + face * 3;
  float p[3][3];
  for (int k = 0; k < 3; k++) if (!project(FLOATS(2) + picture * CAMERA_SIZE, FLOATS(0) + (who * vertices + t[k]) * 3, side, p[k])) return;
  float x0 = fminf(p[0][0], fminf(p[1][0], p[2][0])), x1 = fmaxf(p[0][0], fmaxf(p[1][0], p[2][0]));
  float y0 = fminf(p[0][1], fminf(p[1][1], p[2][1])), y1 = fmaxf(p[0][1], fmaxf(p[1][1], p[2][1]));
  if (x1 < 0 || y1 < 0 || x0 > side || y0 > side) return;
  int left = (int)fmaxf(0, ceilf(x0 - .5f)), right = (int)fminf(side - 1, floorf(x1 - .5f));
  int top = (int)fmaxf(0, ceilf(y0 - .5f)), bottom = (int)fminf(side - 1, floorf(y1 - .5f));
  float area = (p[1][0] - p[0][0]) * (p[2][1] - p[0][1]) - (p[1][1] - p[0][1]) * (p[2][0] - p[0][0]);
  if (fabsf(area) < 1e-9f) return;
  u64 *keys = KEYS(3) + picture * side * side;
  u32 id = (u32)((who % bodies) * faces + face);
  for (int y = top; y <= bottom; y++) for (int x = left; x <= right; x++) {
    float X = x + .5f, Y = y + .5f;
    float w0 = ((p[1][0] - X) * (p[2][1] - Y) - (p[1][1] - Y) * (p[2][0] - X)) / area;
    float w1 = ((p[2][0] - X) * (p[0][1] - Y) - (p[2][1] - Y) * (p[0][0] - X)) / area, w2 = 1 - w0 - w1;
    if (w0 < 0 || w1 < 0 || w2 < 0) continue;
    float depth = 1 / (w0 / p[0][2] + w1 / p[1][2] + w2 / p[2][2]);
    keep_nearest(keys + y * side + x, ((u64)bits_of(depth) << 32) | id);
  }
}
KERNEL(raster)

// ---- light --------------------------------------------------------------------------------
// Share of the key light that is blocked at a spot, from the depth seen by the light.
DEVICE float in_shadow(const float *world, const float *lamp, const u64 *keys, int side) {
  float p[3], blocked = 0;
  if (!project(lamp, world, side, p)) return 0;
  for (int dy = -1; dy <= 1; dy++) for (int dx = -1; dx <= 1; dx++) {
    int x = (int)(p[0] + dx * 1.3f), y = (int)(p[1] + dy * 1.3f);
    if (x < 0 || y < 0 || x >= side || y >= side || keys[y * side + x] == NOTHING) continue;
    if (float_of((u32)(keys[y * side + x] >> 32)) < p[2] - .035f) blocked += 1.f / 9;
  }
  return blocked;
}
// Share of the surroundings that is closed off by what is near in the picture.
DEVICE float closed_in(int px, int py, float depth, float reach, const u64 *keys, int side, u32 seed) {
  float sum = 0, turn = chance(px, py, 3, seed) * 6.28f;
  for (int k = 0; k < 8; k++) {
    float angle = turn + k * .785f, far = reach * (.3f + .1f * k);
    int x = px + (int)(far * cosf(angle)), y = py + (int)(far * sinf(angle));
    if (x < 0 || y < 0 || x >= side || y >= side || keys[y * side + x] == NOTHING) continue;
    float nearer = depth - float_of((u32)(keys[y * side + x] >> 32));
    if (nearer > .015f && nearer < .45f) sum += .125f;
  }
  return sum;
}

// ---- surfaces -----------------------------------------------------------------------------
DEVICE void paint_cloth(float *rgb, bool *cloth, int part, const float *rest, float along, const float *body, u32 seed, bool top) {
  for (int k = 0; k < 3; k++) rgb[k] = body[(top ? BODY_TOP_COLOUR : BODY_BOTTOM_COLOUR) + k];
  int pattern = (int)(body[BODY_PATTERN] + .5f);
  float px = body[BODY_PATTERN_X], pz = body[BODY_PATTERN_Z], limit = body[BODY_PATTERN_THRESHOLD];
  const float *second = body + BODY_SECOND_COLOUR;
  if (pattern == 1 && sinf((rest[2] * pz + rest[0] * px) * 6.28f) > limit) blend(rgb, second, .9f);
  if (pattern == 2 && cloud(rest[0] * pz * .5f, rest[1] * pz * .5f, rest[2] * pz * .5f, seed + 5) > .5f + .15f * limit) blend(rgb, second, .9f);
  if (pattern == 3 && (part == TRUNK ? fabsf(rest[0]) > .11f : fabsf(rest[1] + .02f) < .03f)) blend(rgb, second, .9f);
  if (pattern == 4 && part != TRUNK && along > .25f + .25f * limit) blend(rgb, second, .95f);
  if (pattern == 5) blend(rgb, second, fminf(1.f, fmaxf(0.f, .5f + (rest[2] + .2f * limit) * 3.f)));
  if (part == TRUNK && top && rest[1] < 0 && body[BODY_LAPEL] > .5f) {
    float up = rest[2] - body[BODY_WAIST_Z], edge = .012f + .3f * up;
    if (up > .1f && fabsf(rest[0]) < edge * .42f) { for (int k = 0; k < 3; k++) rgb[k] = body[BODY_SKIN_COLOUR + k]; *cloth = false; return; }
    float band = fabsf(fabsf(rest[0]) - edge * .5f);
    if (up > 0 && band < .022f) scale(rgb, band > .018f ? .65f : .93f);
  }
  for (int k = 0; k < N_PATCHES; k++) {  // x, z, half width, half height, back?, letters, shade, use
    const float *patch = body + BODY_PATCHES + 8 * k;
    if (patch[7] < .5f || (part != TRUNK && part != THIGH) || (rest[1] > -.02f) != (patch[4] > .5f)) continue;
    float u = (rest[0] - patch[0]) / patch[2], v = (rest[2] - patch[1]) / patch[3];
    if (fabsf(u) > 1 || fabsf(v) > 1) continue;
    if (patch[5] < .5f) { blend(rgb, second, .9f); continue; }
    bool ink = letter((u * .5f + .5f) * floorf(patch[5]), .5f - .5f * v, seed + 31 + k);
    for (int c = 0; c < 3; c++) rgb[c] = ink ? patch[6] : (patch[6] > .5f ? rgb[c] : second[c] * .4f + .6f);
  }
  if (part == TRUNK && fabsf(rest[2] - body[BODY_WAIST_Z]) < body[BODY_BELT_HALF]) for (int k = 0; k < 3; k++) rgb[k] = body[BODY_BELT_COLOUR + k];
}
DEVICE void paint_head(float *rgb, const float *rest, float ragged, float grain, const float *body, const float *eyes) {
  float lift = rest[2] - eyes[2], front = rest[1] - eyes[1];
  if (in_hair(rest, body, ragged)) for (int k = 0; k < 3; k++) rgb[k] = body[BODY_HAIR_COLOUR + k] * (1 + .9f * grain);
  else if (front < .035f) {
    for (int e = 0; e < 2; e++) {
      float dx = rest[0] - eyes[e * 3], dz = rest[2] - eyes[e * 3 + 2], oval = dx * dx * .35f + dz * dz * 1.6f;
      if (oval < .00007f) for (int k = 0; k < 3; k++) rgb[k] = dx * dx + dz * dz < .00003f ? .08f : .75f;
      else if (oval < .00013f) scale(rgb, .55f);
      if (fabsf(dz - .021f) < .0045f && fabsf(dx) < .02f) blend(rgb, body + BODY_HAIR_COLOUR, .75f);
    }
    if (fabsf(lift + .068f) < .006f && fabsf(rest[0]) < .024f) { rgb[0] *= .75f; rgb[1] *= .5f; rgb[2] *= .5f; }
    if (fabsf(lift + .043f) < .004f && fabsf(fabsf(rest[0]) - .008f) < .004f) scale(rgb, .5f);
  }
  if (body[BODY_BEARD] > .5f && lift < -.05f && front < .08f) blend(rgb, body + BODY_HAIR_COLOUR, .75f);
  if (body[BODY_HEADGEAR] > .5f && (fabsf(fabsf(rest[0]) - .08f) < .03f && fabsf(lift) < .04f)) for (int k = 0; k < 3; k++) rgb[k] = body[BODY_SHOE_COLOUR + k];
}
DEVICE float fold_height(const float *rest, float f, u32 seed) {
  float ridge = noise(rest[0] * f, rest[1] * f, rest[2] * f * .45f + 2.f * noise(rest[0] * 6, rest[1] * 6, rest[2] * 6, seed + 40), seed + 20);
  ridge = 1 - fabsf(2 * ridge - 1);
  return ridge * ridge + .35f * noise(rest[0] * f * 2.7f, rest[1] * f * 2.7f, rest[2] * f * 2.7f, seed + 21);
}

// ---- hall ---------------------------------------------------------------------------------
DEVICE bool paint_mat(float *rgb, const float *scene, float fx, float fy, u32 seed) {
  if (fx * fx + fy * fy > scene[SCENE_HALL_RADIUS] * scene[SCENE_HALL_RADIUS]) return false;
  float c = scene[SCENE_MAT_TURN], s = scene[SCENE_MAT_TURN + 1], gx = c * fx - s * fy, gy = s * fx + c * fy;
  float dx = gx - scene[SCENE_AREA_CENTRE], dy = gy - scene[SCENE_AREA_CENTRE + 1];
  float border = scene[SCENE_ROUND_AREA] > .5f ? sqrtf(dx * dx + dy * dy) : fmaxf(fabsf(dx), fabsf(dy));
  for (int k = 0; k < 3; k++) rgb[k] = scene[(border > scene[SCENE_AREA_HALF] ? SCENE_AREA_COLOUR : SCENE_MAT_COLOUR) + k];
  float tx = gx / scene[SCENE_TILE_SIZE], ty = gy / scene[SCENE_TILE_SIZE];
  if (scene[SCENE_TILED] > .5f && (((int)floorf(tx) + (int)floorf(ty)) & 1)) for (int k = 0; k < 3; k++) rgb[k] = scene[SCENE_TILE_COLOUR + k];
  tx -= floorf(tx); ty -= floorf(ty);
  if (scene[SCENE_SEAMS] > .5f && (tx < .012f || ty < .012f)) scale(rgb, .6f);
  float lx = gx - scene[SCENE_DISC_CENTRE], ly = gy - scene[SCENE_DISC_CENTRE + 1], far = lx * lx + ly * ly, r = scene[SCENE_DISC_RADIUS];
  if (far < r * r && far > scene[SCENE_DISC_HOLE] * r * r) blend(rgb, scene + SCENE_DISC_COLOUR, .85f);
  if (r > 0 && fabsf(ly) < r * .4f && fabsf(lx) < r * 1.6f && letter(lx / (r * .5f) + 8, .5f - ly / (r * .8f), seed + 17)) blend(rgb, scene + SCENE_LETTER_COLOUR, .8f);
  float f = scene[SCENE_GRAIN_FREQUENCY], grain = cloud(gx * f, gy * f, 3, seed) - .5f, stain = cloud(gx * .7f, gy * .7f, 7, seed) - .5f;
  scale(rgb, 1 + scene[SCENE_GRAIN] * grain + .3f * stain);
  return true;
}
DEVICE void paint_wall(float *rgb, const float *scene, float bx, float by, u32 seed) {
  for (int k = 0; k < 3; k++) rgb[k] = scene[(by < scene[SCENE_WALL_SPLIT_M] ? SCENE_WALL_LOW : SCENE_WALL_HIGH) + k];
  float f = scene[SCENE_WALL_FREQUENCY], grain = cloud(bx * f, by * f, 1, seed + 3) - .5f, shade = cloud(bx * .5f, by * .5f, 1, seed + 4) - .5f;
  for (int k = 0; k < N_SHAPES; k++) {  // x, y, half width, half height, round?, colour
    const float *shape = scene + SCENE_SHAPES + 8 * k;
    float x = (bx - shape[0]) / shape[2], y = (by - shape[1]) / shape[3];
    if (shape[4] > .5f ? x * x + y * y < 1 : fabsf(x) < 1 && fabsf(y) < 1) for (int c = 0; c < 3; c++) rgb[c] = shape[5 + c] * (1 + .5f * grain);
  }
  if (scene[SCENE_CROWD] > .5f && by > scene[SCENE_CROWD_BASE_M]) {
    float rowed = (by - scene[SCENE_CROWD_BASE_M]) / scene[SCENE_CROWD_ROW_M];
    for (int back = 0; back < 2; back++) {  // one seated here, then one in the row before
      int row = (int)floorf(rowed) - back;
      if (row < 0) continue;
      float wide = .62f * scene[SCENE_CROWD_ROW_M] / .8f, place = bx / wide + chance(row, 9, 2, seed) * 5;
      int seat = (int)floorf(place);
      float x = (place - seat - .5f + .3f * (chance(row, seat, 4, seed) - .5f)) * wide, y = (rowed - row) * scene[SCENE_CROWD_ROW_M] - .1f * chance(row, seat, 5, seed);
      if (chance(row, seat, 6, seed) < .1f) continue;
      float tone = .25f + .75f * chance(row, seat, 7, seed), head_y = .78f, hx = x / .105f, hy = (y - head_y) / .14f;
      if (hx * hx + hy * hy < 1) { float dark = hy > .35f ? .15f : 1.f; rgb[0] = .85f * tone * dark; rgb[1] = .62f * tone * dark; rgb[2] = .48f * tone * dark; }
      else if (y < .63f && y > -.3f && fabsf(x) < .25f - .35f * fmaxf(0.f, y - .45f)) {
        float light = .08f + .85f * chance(row, seat, 8, seed) * chance(row, seat, 12, seed), colour = scene[SCENE_CROWD_SATURATION];
        for (int c = 0; c < 3; c++) rgb[c] = light * (1 - colour * chance(row, seat, 9 + c, seed)) * (.6f + .8f * noise(x * 14, y * 14, row + seat, seed));
      }
    }
  }
  if (scene[SCENE_BANNER] > .5f) {
    float v = (by - scene[SCENE_BANNER_BASE_M]) / scene[SCENE_BANNER_HEIGHT_M];
    if (v > 0 && v < 1) {
      for (int k = 0; k < 3; k++) rgb[k] = scene[SCENE_BANNER_COLOUR + k];
      if (letter(bx / scene[SCENE_LETTER_WIDTH_M], 1 - v, seed + 23)) for (int k = 0; k < 3; k++) rgb[k] = scene[SCENE_LETTER_COLOUR + k];
    }
  }
  scale(rgb, fmaxf(0.f, 1 + scene[SCENE_WALL_GRAIN] * grain + .6f * shade) * scene[SCENE_WALL_LIGHT]);
}
DEVICE bool paint_covers(float *rgb, const float *scene, float x, float y, u32 seed) {
  bool covered = false;
  for (int k = 0; k < N_COVERS; k++) {  // use, x, y, half width, half height, cos, sin, kind, shade, letters
    const float *cover = scene + SCENE_COVERS + 10 * k;
    if (cover[0] < .5f) continue;
    float u = (cover[5] * (x - cover[1]) - cover[6] * (y - cover[2])) / cover[3], v = (cover[6] * (x - cover[1]) + cover[5] * (y - cover[2])) / cover[4];
    if (cover[7] > .5f ? u * u + v * v > 1 : fabsf(u) > 1 || fabsf(v) > 1) continue;
    float tone = cover[8] * (.5f + cloud(u * 3, v * 3, k, seed + 8));
    for (int c = 0; c < 3; c++) rgb[c] = tone * (.4f + .6f * chance(k, c, 1, seed));
    if (cover[9] > .5f && letter((u * .5f + .5f) * cover[9], .5f + .5f * v, seed + 9)) for (int c = 0; c < 3; c++) rgb[c] = 1 - tone;
    covered = true;
  }
  return covered;
}

// ---- shade: 0 position 1 normal 2 faces 3 cameras 4 keys 5 rest (first body) 6 part 7 along 8 side
// 9 body rows 10 scene rows 11 light rows 12 lamps 13 lamp keys 14 centre[pictures,3] 15 eyes[6]
// 16 out picture[pictures,4,side,side] 17 out label 18 vertices 19 faces 20 side 21 lamp side
// 22 bodies a picture 23 label step
DEVICE void light_up(float *rgb, const float *n, const float *world, const float *view, const float *light, float shadow, float closed, float floor_z, float gloss) {
  const float *key = light + LIGHT_KEY, *fill = light + LIGHT_FILL;
  float lit = fmaxf(0.f, n[0] * key[0] + n[1] * key[1] + n[2] * key[2]) * (1 - light[LIGHT_SHADOW] * shadow);
  float filled = fmaxf(0.f, n[0] * fill[0] + n[1] * fill[1] + n[2] * fill[2]);
  float height = (world[2] - floor_z) * 2.5f, open = (height > 1 ? 1 : .6f + .4f * fmaxf(0.f, height)) * (1 - light[LIGHT_OCCLUSION] * closed);
  float sum = light[LIGHT_AMBIENT] * (.45f + .55f * (.5f + .5f * n[2])) * open + light[LIGHT_KEY_POWER] * lit + light[LIGHT_FILL_POWER] * filled * open;
  float h[3], length = 1e-6f;
  for (int k = 0; k < 3; k++) { h[k] = key[k] - view[k]; length += h[k] * h[k]; }
  float shine = fmaxf(0.f, (n[0] * h[0] + n[1] * h[1] + n[2] * h[2]) / sqrtf(length));
  shine = gloss * light[LIGHT_KEY_POWER] * (1 - shadow) * powf(shine, 24.f);
  for (int k = 0; k < 3; k++) rgb[k] = rgb[k] * sum * (1 + .12f * light[LIGHT_TINT + k]) + shine;
}
DEVICE void shade(long long i, const u64 *a) {
  long long vertices = NUMBER(18), faces = NUMBER(19), bodies = NUMBER(22);
  int side = NUMBER(20), lamp_side = NUMBER(21), step = NUMBER(23), px = i % side, py = (i / side) % side;
  long long b = i / ((long long)side * side);
  const float *camera = FLOATS(3) + b * CAMERA_SIZE, *scene = FLOATS(10) + b * SCENE_SIZE, *light = FLOATS(11) + b * LIGHT_SIZE;
  const u64 *keys = KEYS(4) + b * side * side, *lamp_keys = KEYS(13) + b * lamp_side * lamp_side;
  const float *lamp = FLOATS(12) + b * CAMERA_SIZE, *centre = FLOATS(14) + b * 3;
  u64 key = keys[py * side + px];
  u32 seed = seed_of(scene[SCENE_SEED]);
  float rgb[3] = {.5f, .5f, .5f}, ray[3], floor_z = camera[CAMERA_FLOOR_Z], front = 0;
  float u = (px + .5f - side * .5f) / camera[CAMERA_SCALE] + camera[CAMERA_CENTRE], v = (py + .5f - side * .5f) / camera[CAMERA_SCALE + 1] + camera[CAMERA_CENTRE + 1];
  for (int k = 0; k < 3; k++) ray[k] = camera[CAMERA_TURN + k] * u + camera[CAMERA_TURN + 3 + k] * v + camera[CAMERA_TURN + 6 + k];
  float length = sqrtf(ray[0] * ray[0] + ray[1] * ray[1] + ray[2] * ray[2]), view[3] = {ray[0] / length, ray[1] / length, ray[2] / length};
  int label = 0;
  if (key != NOTHING) {
    u32 id = (u32)key; int n = id / faces, face = id % faces; long long who = b * bodies + n;
    const int *t = INTS(2) + face * 3;
    float p[3][3], w[3], X = px + .5f, Y = py + .5f, sum = 0;
    for (int k = 0; k < 3; k++) project(camera, FLOATS(0) + (who * vertices + t[k]) * 3, side, p[k]);
    float area = (p[1][0] - p[0][0]) * (p[2][1] - p[0][1]) - (p[1][1] - p[0][1]) * (p[2][0] - p[0][0]);
    w[0] = ((p[1][0] - X) * (p[2][1] - Y) - (p[1][1] - Y) * (p[2][0] - X)) / area;
    w[1] = ((p[2][0] - X) * (p[0][1] - Y) - (p[2][1] - Y) * (p[0][0] - X)) / area;
    w[2] = 1 - w[0] - w[1];
    for (int k = 0; k < 3; k++) { w[k] /= p[k][2]; sum += w[k]; }
    float normal[3] = {0, 0, 0}, rest[3] = {0, 0, 0}, world[3] = {0, 0, 0}, along = 0;
    int closest = 0;
    for (int k = 0; k < 3; k++) {
      w[k] /= sum; if (w[k] > w[closest]) closest = k;
      for (int c = 0; c < 3; c++) { normal[c] += w[k] * FLOATS(1)[(who * vertices + t[k]) * 3 + c]; rest[c] += w[k] * FLOATS(5)[t[k] * 3 + c]; world[c] += w[k] * FLOATS(0)[(who * vertices + t[k]) * 3 + c]; }
      along += w[k] * FLOATS(7)[t[k]];
    }
    int part = BYTES(6)[t[closest]], limb_side = BYTES(8)[t[closest]];
    const float *body = FLOATS(9) + who * BODY_SIZE;
    u32 own = seed_of(body[BODY_SEED]);
    float wf = body[BODY_WEAVE_FREQUENCY], grain = cloud(rest[0] * wf, rest[1] * wf, rest[2] * wf, own) - .5f, ragged = .06f * (noise(rest[0] * 25, rest[1] * 25, rest[2] * 25, own + 9) - .5f);
    bool cloth = is_cloth(part, rest, along, ragged, body);
    float gloss = body[BODY_GLOSS] * .3f + .05f;
    if (cloth) { paint_cloth(rgb, &cloth, part, rest, along, body, own, is_top(part, rest, along, body)); scale(rgb, 1 + 2 * body[BODY_WEAVE] * grain); gloss = body[BODY_GLOSS]; }
    else {
      for (int k = 0; k < 3; k++) rgb[k] = body[BODY_SKIN_COLOUR + k] * (1 + .25f * grain);
      if (part == HEAD) paint_head(rgb, rest, ragged, grain, body, FLOATS(15));
      if (body[BODY_SHOES] > .5f && (part == FOOT || (part == SHANK && along > .93f))) for (int k = 0; k < 3; k++) rgb[k] = body[BODY_SHOE_COLOUR + k] * (1 + grain);
    }
    float depth_of_fold = cloth ? body[BODY_FOLD] : .04f, ff = body[BODY_FOLD_FREQUENCY], h0 = fold_height(rest, ff, own);
    for (int k = 0; k < 3; k++) { float moved[3] = {rest[0], rest[1], rest[2]}; moved[k] += .12f / ff; normal[k] -= depth_of_fold * 4 * (fold_height(moved, ff, own) - h0); }
    if (cloth) scale(rgb, 1 - .35f * fminf(1.f, depth_of_fold) * (1 - fminf(1.f, h0)));
    float norm = 1e-6f;
    for (int k = 0; k < 3; k++) norm += normal[k] * normal[k];
    for (int k = 0; k < 3; k++) normal[k] /= sqrtf(norm);
    float depth = float_of((u32)(key >> 32));
    if (normal[0] * view[0] + normal[1] * view[1] + normal[2] * view[2] > .15f) for (int k = 0; k < 3; k++) normal[k] = -normal[k];
    light_up(rgb, normal, world, view, light, in_shadow(world, lamp, lamp_keys, lamp_side), closed_in(px, py, depth, .14f * camera[CAMERA_SCALE] / depth, keys, side, seed), floor_z, gloss);
    front = 1;
    if (n < 2) {
      int m = limb_side && scene[SCENE_MIRROR] > .5f ? 3 - limb_side : limb_side, base = part == TRUNK ? 1 : part >= NECK ? 2 : part <= HAND ? 1 + 2 * part : 1 + 2 * (part - 1) + 2;
      label = (base < 3 ? base : base + (m == 2)) + 16 * n;
    }
  } else {
    float t = ray[2] < -1e-5f ? (floor_z - camera[CAMERA_EYE + 2]) / ray[2] : -1, world[3] = {camera[CAMERA_EYE] + ray[0] * t, camera[CAMERA_EYE + 1] + ray[1] * t, floor_z};
    float fx = world[0] - centre[0], fy = world[1] - centre[1];
    if (t > 0 && paint_mat(rgb, scene, fx, fy, seed)) {
      float up[3] = {0, 0, 1};
      light_up(rgb, up, world, view, light, in_shadow(world, lamp, lamp_keys, lamp_side), closed_in(px, py, t, .2f * camera[CAMERA_SCALE] / t, keys, side, seed), floor_z - 1, scene[SCENE_MAT_GLOSS]);
    } else {  // the hall's round wall
      float ox = camera[CAMERA_EYE] - centre[0], oy = camera[CAMERA_EYE + 1] - centre[1], r = scene[SCENE_HALL_RADIUS];
      float A = ray[0] * ray[0] + ray[1] * ray[1] + 1e-9f, B = ox * ray[0] + oy * ray[1], D = B * B - A * (ox * ox + oy * oy - r * r), s = D > 0 ? (-B + sqrtf(D)) / A : 10.f;
      paint_wall(rgb, scene, atan2f(oy + ray[1] * s, ox + ray[0] * s) * r, camera[CAMERA_EYE + 2] + ray[2] * s - floor_z, seed);
    }
  }
  if (paint_covers(rgb, scene, (px + .5f) / side, (py + .5f) / side, seed)) { label = 0; front = 1; }
  float *out = FLOATS(16) + b * 4 * side * side + py * side + px;
  for (int k = 0; k < 3; k++) out[k * side * side] = rgb[k];
  out[3 * side * side] = front;
  if (px % step == step / 2 && py % step == step / 2) BYTES(17)[(b * (side / step) + py / step) * (side / step) + px / step] = label;
}
KERNEL(shade)
