"""Distributions as four numbers ``(kind, a, b, c)``, drawn by their quantile function.

Each variate comes from one uniform, so a design that changes a distribution keeps its place in
the same draw, and a larger uniform never gives a smaller value.
"""

from __future__ import annotations

import math

from shutoffsim.model.compiled import entry, kernel

FIXED = 0  # a: value
UNIFORM = 1  # a: low, b: high
LOGNORMAL = 2  # a: log of the median above c, b: log standard deviation, c: least value
EXPONENTIAL = 3  # a: mean
WEIBULL = 4  # a: shape, b: scale
TRIANGULAR = 5  # a: least, b: likely, c: most


@kernel
def normal_quantile(u):
    """Return the standard normal quantile of ``u`` in (0, 1), relative error about 1e-16.

    M. J. Wichura, "Algorithm AS 241: The percentage points of the normal distribution", Applied
    Statistics 37 (1988) 477-484, routine PPND16.
    """
    q = u - 0.5
    if abs(q) <= 0.425:
        r = 0.180625 - q * q
        top = 2.5090809287301226727e3
        top = top * r + 3.3430575583588128105e4
        top = top * r + 6.7265770927008700853e4
        top = top * r + 4.5921953931549871457e4
        top = top * r + 1.3731693765509461125e4
        top = top * r + 1.9715909503065514427e3
        top = top * r + 1.3314166789178437745e2
        top = top * r + 3.3871328727963666080e0
        low = 5.2264952788528545610e3
        low = low * r + 2.8729085735721942674e4
        low = low * r + 3.9307895800092710610e4
        low = low * r + 2.1213794301586595867e4
        low = low * r + 5.3941960214247511077e3
        low = low * r + 6.8718700749205790830e2
        low = low * r + 4.2313330701600911252e1
        low = low * r + 1.0
        return q * top / low
    r = u if q < 0.0 else 1.0 - u
    r = math.sqrt(-math.log(r))
    if r <= 5.0:
        r -= 1.6
        top = 7.74545014278341407640e-4
        top = top * r + 2.27238449892691845833e-2
        top = top * r + 2.41780725177450611770e-1
        top = top * r + 1.27045825245236838258e0
        top = top * r + 3.64784832476320460504e0
        top = top * r + 5.76949722146069140550e0
        top = top * r + 4.63033784615654529590e0
        top = top * r + 1.42343711074968357734e0
        low = 1.05075007164441684324e-9
        low = low * r + 5.47593808499534494600e-4
        low = low * r + 1.51986665636164571966e-2
        low = low * r + 1.48103976427480074590e-1
        low = low * r + 6.89767334985100004550e-1
        low = low * r + 1.67638483018380384940e0
        low = low * r + 2.05319162663775882187e0
        low = low * r + 1.0
    else:
        r -= 5.0
        top = 2.01033439929228813265e-7
        top = top * r + 2.71155556874348757815e-5
        top = top * r + 1.24266094738807843860e-3
        top = top * r + 2.65321895265761230930e-2
        top = top * r + 2.96560571828504891230e-1
        top = top * r + 1.78482653991729133580e0
        top = top * r + 5.46378491116411436990e0
        top = top * r + 6.65790464350110377720e0
        low = 2.04426310338993978564e-15
        low = low * r + 1.42151175831644588870e-7
        low = low * r + 1.84631831751005468180e-5
        low = low * r + 7.86869131145613259100e-4
        low = low * r + 1.48753612908506148525e-2
        low = low * r + 1.36929880922735805310e-1
        low = low * r + 5.99832206555887937690e-1
        low = low * r + 1.0
    return -top / low if q < 0.0 else top / low


@entry
def quantile(dist, u):
    """Return the ``u`` quantile of the distribution ``dist = (kind, a, b, c)``."""
    kind = int(dist[0])
    if kind == FIXED:
        return dist[1]
    if kind == UNIFORM:
        return dist[1] + (dist[2] - dist[1]) * u
    if kind == LOGNORMAL:
        return dist[3] + math.exp(dist[1] + dist[2] * normal_quantile(u))
    if kind == EXPONENTIAL:
        return -dist[1] * math.log1p(-u)
    if kind == WEIBULL:
        return dist[2] * (-math.log1p(-u)) ** (1.0 / dist[1])
    least, likely, most = dist[1], dist[2], dist[3]
    width = most - least
    if width <= 0.0:
        return least
    if u * width < likely - least:
        return least + math.sqrt(u * width * (likely - least))
    return most - math.sqrt((1.0 - u) * width * (most - likely))


@kernel
def chance(dist, x):
    """Return the chance that the distribution ``dist = (kind, a, b, c)`` gives at most ``x``."""
    kind = int(dist[0])
    if kind == FIXED:
        return 1.0 if x >= dist[1] else 0.0
    if kind == UNIFORM:
        return min(max((x - dist[1]) / (dist[2] - dist[1]), 0.0), 1.0) if dist[2] > dist[1] else 1.0
    if kind == LOGNORMAL:
        if x <= dist[3]:
            return 0.0
        return 0.5 * math.erfc((dist[1] - math.log(x - dist[3])) / (dist[2] * math.sqrt(2.0)))
    if kind == EXPONENTIAL:
        return -math.expm1(-max(x, 0.0) / dist[1])
    if kind == WEIBULL:
        return -math.expm1(-((max(x, 0.0) / dist[2]) ** dist[1]))
    least, likely, most = dist[1], dist[2], dist[3]
    if x <= least:
        return 0.0
    if x >= most:
        return 1.0
    if x < likely:
        return (x - least) ** 2 / ((most - least) * (likely - least))
    return 1.0 - (most - x) ** 2 / ((most - least) * (most - likely))


@kernel
def limited_mean(dist, x):
    """Return the mean of the lesser of a draw of ``dist = (kind, a, b, c)`` and ``x``.

    Its limited expected value: the integral of the chance of more, from 0 to ``x`` (S. A. Klugman,
    H. H. Panjer and G. E. Willmot, "Loss Models", appendix A, from memory). Draws are not negative.
    """
    kind = int(dist[0])
    if kind == FIXED:
        return min(dist[1], x)
    if kind == UNIFORM:
        low, high = dist[1], dist[2]
        if x <= low:
            return x
        if x >= high:
            return 0.5 * (low + high)
        return x - 0.5 * (x - low) ** 2 / (high - low)
    if kind == LOGNORMAL:
        return limited_lognormal_mean(dist[1], dist[2], dist[3], x)
    if kind == EXPONENTIAL:
        return -dist[1] * math.expm1(-x / dist[1])
    if kind == WEIBULL:
        return limited_weibull_mean(dist[1], dist[2], x)
    least, likely, most = dist[1], dist[2], dist[3]
    if x <= least:
        return x
    if x >= most:
        return (least + likely + most) / 3.0
    if x < likely:
        return x - (x - least) ** 3 / (3.0 * (most - least) * (likely - least))
    mean = (least + likely + most) / 3.0
    return mean - (most - x) ** 3 / (3.0 * (most - least) * (most - likely))


@kernel
def limited_lognormal_mean(log_median, spread, least, x):
    """Return :func:`limited_mean` of ``least`` plus a lognormal draw."""
    if x <= least:
        return x
    mean = math.exp(log_median + 0.5 * spread * spread)
    if x == math.inf:
        return least + mean
    if spread <= 0.0:
        return least + min(mean, x - least)
    far = (math.log(x - least) - log_median) / (spread * math.sqrt(2.0))
    below = 0.5 * math.erfc(spread / math.sqrt(2.0) - far)
    return least + mean * below + (x - least) * 0.5 * math.erfc(far)


@kernel
def limited_weibull_mean(shape, scale, x):
    """Return :func:`limited_mean` of a Weibull draw, by the series of the incomplete gamma."""
    power = 1.0 + 1.0 / shape
    v = (x / scale) ** shape
    if v > 100.0 + 10.0 * power:
        return scale * math.gamma(power)
    term = 1.0 / power
    total = term
    n = 1.0
    while term > 1e-17 * total:
        term *= v / (power + n)
        total += term
        n += 1.0
    return math.exp(-v) * (scale * v**power * total + x)


@kernel
def waiting(rate, u):
    """Return an exponential waiting time for ``rate`` events per second; inf at rate 0."""
    if rate <= 0.0:
        return math.inf
    return -math.log1p(-u) / rate
