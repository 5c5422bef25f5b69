// Distributions, their quantiles, random numbers with a fixed seed: each by the method of the program, step by step, so that a
// figure agrees in every digit that a page shows. What has no value throws `Undefined`.

class Undefined extends Error {}
const fail = (reason) => { throw new Undefined(reason); };
const atLeast = (got, want, what = "readings") => got < want && fail(`too few ${what}: got ${got}, want at least ${want}`);

const CONFIDENCE = 0.95;
const TINY = 2.2250738585072014e-308;
const polynomial = (x, ...factors) => factors.reduceRight((sum, factor) => sum * x + factor, 0);

// The complementary error function, as in FreeBSD's s_erf.c.
function erfc(x) {
  const far = Math.abs(x);
  if (far < 0.84375) {
    const z = x * x;
    const y = polynomial(z, 1.28379167095512558561e-01, -3.25042107247001499370e-01, -2.84817495755985104766e-02, -5.77027029648944159157e-03, -2.37630166566501626084e-05) / polynomial(z, 1, 3.97917223959155352819e-01, 6.50222499887672944485e-02, 5.08130628187576562776e-03, 1.32494738004321644526e-04, -3.96022827877536812320e-06);
    return x < 0.25 ? 1 - (x + x * y) : 0.5 - (x - 0.5 + x * y);
  }
  if (far >= 28) return x < 0 ? 2 : 0;
  const own = far < 1.25 ? erfcNear(far) : erfcFar(far);
  return x < 0 ? 2 - own : own;
}

function erfcNear(x) {
  const s = x - 1;
  return 1 - 8.45062911510467529297e-01 - polynomial(s, -2.36211856075265944077e-03, 4.14856118683748331666e-01, -3.72207876035701323847e-01, 3.18346619901161753674e-01, -1.10894694282396677476e-01, 3.54783043256182359371e-02, -2.16637559486879084300e-03) / polynomial(s, 1, 1.06420880400844228286e-01, 5.40397917702171048937e-01, 7.18286544141962662868e-02, 1.26171219808761642112e-01, 1.36370839120290507362e-02, 1.19844998467991074170e-02);
}

function erfcFar(x) {
  const s = 1 / (x * x);
  const share = x < 1 / 0.35
    ? polynomial(s, -9.86494403484714822705e-03, -6.93858572707181764372e-01, -1.05586262253232909814e+01, -6.23753324503260060396e+01, -1.62396669462573470355e+02, -1.84605092906711035994e+02, -8.12874355063065934246e+01, -9.81432934416914548592e+00) / polynomial(s, 1, 1.96512716674392571292e+01, 1.37657754143519042600e+02, 4.34565877475229228821e+02, 6.45387271733267880336e+02, 4.29008140027567833386e+02, 1.08635005541779435134e+02, 6.57024977031928170135e+00, -6.04244152148580987438e-02)
    : polynomial(s, -9.86494292470009928597e-03, -7.99283237680523006574e-01, -1.77579549177547519889e+01, -1.60636384855821916062e+02, -6.37566443368389627722e+02, -1.02509513161107724954e+03, -4.83519191608651397019e+02) / polynomial(s, 1, 3.03380607434824582924e+01, 3.25792512996573918826e+02, 1.53672958608443695994e+03, 3.19985821950859553908e+03, 2.55305040643316442583e+03, 4.74528541206955367215e+02, -2.24409524465858183362e+01);
  const bits = new DataView(new ArrayBuffer(8));
  bits.setFloat64(0, x);
  bits.setUint32(4, 0);
  const z = bits.getFloat64(0);
  return Math.exp(-z * z - 0.5625) * Math.exp((z - x) * (z + x) + share) / x;
}

const below = (z) => 0.5 * erfc(-z * Math.SQRT1_2);
const above = (z) => below(-z);
const density = (z) => Math.exp(-0.5 * z * z) / Math.sqrt(2 * Math.PI);
const normalQuantile = (p) => increasingRoot((z) => (p < 0.5 ? below(z) - p : 1 - p - above(z)), -40, 40);

// The logarithm of the gamma function by Lanczos' sum, with Pugh's factors.
function lnGamma(x) {
  const factors = [1.05142378581721974210, -3.45687097222016235469, 4.51227709466894823700, -2.98285225323576655721, 1.05639711577126713077, -1.95428773191645869583e-1, 1.70970543404441224307e-2, -5.71926117404305781283e-4, 4.63399473359905636708e-6, -2.71994908488607703910e-9];
  const logOf = 0.6207822376352452;
  const part = (of) => factors.reduce((sum, factor, nth) => sum + factor / of(nth + 1), 2.48574089138753565546e-5);
  if (x < 0.5) return Math.log(Math.PI) - Math.log(Math.sin(Math.PI * x)) - Math.log(part((nth) => nth - x)) - logOf - (0.5 - x) * Math.log((0.5 - x + 10.900511) / Math.E);
  return Math.log(part((nth) => x + nth - 1)) + logOf + (x - 0.5) * Math.log((x - 0.5 + 10.900511) / Math.E);
}

// The incomplete gamma function, as shares below and above.
function gammaShares(a, x) {
  const log = a * Math.log(x) - x - lnGamma(a);
  if (log < -709.782712893384) return a < x ? [1, 0] : [0, 1];
  if (x <= 1 || x <= a) {
    let [r, c, sum] = [a, 1, 1];
    do { r += 1; c *= x / r; sum += c; } while (c / sum > 1e-15);
    const share = Math.exp(log) * sum / a;
    return [share, 1 - share];
  }
  let [y, z, c, p3, q3, p2] = [1 - a, x + 1 - a + 1, 0, 1, x, x + 1];
  let q2 = z * x;
  let share = p2 / q2;
  for (let error = 1; error > 1e-15; ) {
    y += 1; z += 2; c += 1;
    const [p, q] = [p2 * z - p3 * y * c, q2 * z - q3 * y * c];
    [p3, p2, q3, q2] = [p2, p, q2, q];
    if (Math.abs(p) > 4503599627370496) [p3, p2, q3, q2] = [p3, p2, q3, q2].map((part) => part * 2.22044604925031308085e-16);
    if (q !== 0) { error = Math.abs((share - p / q) / (p / q)); share = p / q; }
  }
  return [1 - Math.exp(log) * share, Math.exp(log) * share];
}

// The regularised incomplete beta function, by its continued fraction.
function beta(a, b, x) {
  if (x <= 0 || x >= 1) return x <= 0 ? 0 : 1;
  const front = Math.exp(lnGamma(a + b) - lnGamma(a) - lnGamma(b) + a * Math.log(x) + b * Math.log(1 - x));
  const isTurned = x >= (a + 1) / (a + b + 2);
  if (isTurned) [a, b, x] = [b, a, 1 - x];
  const lowest = 2.004168360008973e-292;
  const kept = (value) => (Math.abs(value) < lowest ? lowest : value);
  let [c, d] = [1, 1 / kept(1 - (a + b) * x / (a + 1))];
  let h = d;
  for (let m = 1; m < 141; m += 1) {
    let step = m * (b - m) * x / ((a - 1 + 2 * m) * (a + 2 * m));
    d = 1 / kept(1 + step * d);
    c = kept(1 + step / c);
    h = h * d * c;
    step = -(a + m) * (a + b + m) * x / ((a + 2 * m) * (a + 1 + 2 * m));
    d = 1 / kept(1 + step * d);
    c = kept(1 + step / c);
    h *= d * c;
    if (Math.abs(d * c - 1) <= 1.1102230246251565e-16) break;
  }
  return isTurned ? 1 - front * h / a : front * h / a;
}

// Where an increasing function is zero, by Chandrupatla's method.
function increasingRoot(f, low, high) {
  const at = (x) => ({ x, f: f(x) });
  const lowest = Math.abs(high - low) * 1e-18;
  let [next, old, share] = [at(high), at(low), 0.5];
  for (let step = 0; step < 200; step += 1) {
    const found = at(next.x + share * (old.x - next.x));
    let before = next;
    if ((found.f < 0) !== (next.f < 0)) [before, old] = [old, next];
    next = found;
    const best = Math.abs(old.f) < Math.abs(next.f) ? old : next;
    const limit = (2 * Number.EPSILON * Math.abs(best.x) + lowest) / Math.abs(old.x - next.x);
    if (limit > 0.5 || best.f === 0) return best.x;
    const [xi, phi] = [(next.x - old.x) / (before.x - old.x), (next.f - old.f) / (before.f - old.f)];
    const isCurved = phi * phi < xi && (1 - phi) * (1 - phi) < 1 - xi;
    share = isCurved ? next.f / (old.f - next.f) * before.f / (old.f - before.f) + (before.x - next.x) / (old.x - next.x) * next.f / (before.f - next.f) * old.f / (before.f - old.f) : 0.5;
    share = Math.min(1 - limit, Math.max(limit, share));
  }
  return next.x;
}

function positiveRoot(f, start) {
  let high = start;
  while (f(high) < 0 && high < Number.MAX_VALUE / 4) high *= 2;
  let low = Math.min(high, start);
  while (f(low) > 0 && low > TINY) low /= 16;
  return Math.exp(increasingRoot((u) => f(Math.exp(u)), Math.log(low), Math.log(high)));
}

const quantileOf = (p, shares, start) => positiveRoot((x) => (p < 0.5 ? shares(x)[0] - p : 1 - p - shares(x)[1]), start);
const degrees = (nu) => (nu > 0 && Number.isFinite(nu) ? nu : fail("degrees of freedom is out of range"));
const tail = (p) => Math.max(p, TINY);

function chiSquared(nu) {
  degrees(nu);
  const shares = (x) => {
    if (x <= 0) return [0, 1];
    const [under, over] = gammaShares(nu / 2, x / 2);
    return [under, tail(over)];
  };
  return { shares, quantile: (p) => quantileOf(p, shares, nu) };
}

function fisherF(upper, lower) {
  degrees(upper);
  degrees(lower);
  const shares = (x) => (x <= 0 ? [0, 1] : [beta(upper / 2, lower / 2, 1 / (1 + lower / (upper * x))), tail(beta(lower / 2, upper / 2, 1 / (1 + upper * x / lower)))]);
  return { shares, quantile: (p) => quantileOf(p, shares, 1) };
}

function studentT(nu) {
  degrees(nu);
  const beyondIt = (t) => (t * t < nu ? 0.5 - 0.5 * beta(0.5, nu / 2, t * t / (nu + t * t)) : tail(0.5 * beta(nu / 2, 0.5, 1 / (1 + t * t / nu))));
  const over = (t) => (t >= 0 ? beyondIt(t) : 1 - beyondIt(-t));
  return { over, twoSided: (t) => Math.min(1, 2 * beyondIt(Math.abs(t))), quantile: (p) => positiveRoot((t) => 1 - p - beyondIt(t), 1) };
}

// Noncentral t: the normal distribution, weighted by the density of the standard deviation.
function noncentralT(nu, shift) {
  degrees(nu);
  if (!Number.isFinite(shift)) fail("a noncentrality is out of range");
  const half = nu / 2;
  const peak = Math.LN2 + half * Math.log(half) - lnGamma(half) - half;
  const log = (u) => nu * u - half * (Math.exp(2 * u) - 1);
  const step = 1 / (3 * Math.max(Math.sqrt(2 * nu), Math.abs(shift) + 6));
  const places = [];
  for (const direction of [-1, 1]) for (let at = direction < 0 ? 0 : step; log(direction * at) > -46; at += step) places.push([Math.exp(direction * at), Math.exp(log(direction * at) + peak) * step]);
  const sum = (of) => Math.min(1, Math.max(0, places.reduce((all, [s, weight]) => all + weight * of(s), 0)));
  const shares = { below: (t) => sum((s) => below(t * s - shift)), above: (t) => sum((s) => above(t * s - shift)) };
  const quantile = (p) => {
    const distance = (t) => (p < 0.5 ? shares.below(t) - p : 1 - p - shares.above(t));
    const reach = (direction) => {
      let far = Math.abs(shift) + 8;
      while (direction * distance(direction * far) < 0 && far < Number.MAX_VALUE / 4) far *= 2;
      return direction * far;
    };
    return increasingRoot(distance, reach(-1), reach(1));
  };
  return { ...shares, quantile };
}

// SplitMix64, in halves of 32 bits. The halves of what comes out are kept here: an array for each would be slow.
function randomOf(seed) {
  let [high, low] = [Number(seed >> 32n), Number(seed & 0xffffffffn)];
  let [h, l] = [0, 0];
  const times = (byHigh, byLow) => {
    const a = l & 0xffff;
    const b = l >>> 16;
    const c = byLow & 0xffff;
    const d = byLow >>> 16;
    const one = b * c + ((a * c) >>> 16);
    const other = (one & 0xffff) + a * d;
    const carried = b * d + (one >>> 16) + (other >>> 16);
    h = (carried + Math.imul(h, byLow) + Math.imul(l, byHigh)) >>> 0;
    l = Math.imul(l, byLow) >>> 0;
  };
  const folded = (by) => {
    l = (l ^ ((l >>> by) | (h << (32 - by)))) >>> 0;
    h = (h ^ (h >>> by)) >>> 0;
  };
  const next = () => {
    low += 0x7f4a7c15;
    high = (high + 0x9e3779b9 + (low > 0xffffffff ? 1 : 0)) >>> 0;
    low >>>= 0;
    h = high;
    l = low;
    folded(30);
    times(0xbf58476d, 0x1ce4e5b9);
    folded(27);
    times(0x94d049bb, 0x133111eb);
    folded(31);
  };
  const share = () => {
    next();
    return (h * 0x200000 + (l >>> 11) + 0.5) / 9007199254740992;
  };
  return {
    share,
    below: (end) => {
      next();
      return ((h % end) * (0x100000000 % end) + (l % end)) % end;
    },
    normal: () => {
      const radius = Math.sqrt(-2 * Math.log(share()));
      return radius * Math.cos(2 * Math.PI * share());
    },
  };
}
