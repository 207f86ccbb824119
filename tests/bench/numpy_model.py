"""The distributed model of a coil with toroid over ground, with the program's own discretisation, in vectorised numpy
and scipy: the same charge shapes on the same strips and the same sections, integrals to the same accuracy. What can be
exploited is: equal sections interact by their distance and their image by the sum of their heights.
Units: metre, henry, farad, hertz. `modes_hz` is the whole solve.
"""
import numpy
from scipy import linalg
from scipy.special import ellipe, ellipkm1

MU0 = 1.25663706212e-6
EPS0 = 8.8541878128e-12
ORDER = 10  # Gauss points of a strip beside others that it does not touch: 1e-9 for the nearest of them
SINGULAR = 11  # per direction of a strip with itself or its neighbour


def gauss(order):
    x, w = numpy.polynomial.legendre.leggauss(order)
    return (1 + x) / 2, w / 2


GAUSS = gauss(ORDER)
S, SW = gauss(SINGULAR)


def ring_potential(r, z, ring_r, ring_z):
    """4 pi eps0 times the potential of a ring with unit charge."""
    axial = (z - ring_z) ** 2
    far = (r + ring_r) ** 2 + axial
    # Coincident points: blocks that have any are replaced, or weighted with 1e-12 and less.
    near = numpy.maximum(((r - ring_r) ** 2 + axial) / far, 1e-32)
    return 2 / numpy.pi * ellipkm1(near) / numpy.sqrt(far)


def legendre(u, degree):
    """P_0..P_degree at 2u - 1, last axis."""
    x = 2 * u - 1
    values = [numpy.ones_like(x), x, (3 * x * x - 1) / 2, (5 * x ** 3 - 3 * x) / 2]
    return numpy.stack(values[: degree + 1], axis=-1)


class Strips:
    """Strips of one degree: straight ones (edge: -1 start, 1 end, 0 none) or arcs of a torus."""

    def __init__(self, degree, place, mean_radius, towards_axis, singular_at_end):
        self.degree, self.place, self.mean_radius = degree, place, mean_radius
        self.reversed = numpy.where(singular_at_end == 0, towards_axis, singular_at_end > 0)
        self.count = len(mean_radius)

    def sample(self, which, u):
        """Points and radius-weighted shapes at u (one row per element of `which`)."""
        r, z = self.place(which, u)
        shape = legendre(u, self.degree) * (r / self.mean_radius[which][:, None])[..., None]
        return r, z, shape

    def points(self):
        """All Gauss points in a row, and the matrix from points to unknowns."""
        u = numpy.broadcast_to(GAUSS[0], (self.count, ORDER))
        r, z, shape = self.sample(numpy.arange(self.count), u)
        shape = shape * GAUSS[1][None, :, None]
        weights = numpy.zeros((self.count, ORDER, self.count, self.degree + 1))
        every = numpy.arange(self.count)
        weights[every, :, every, :] = shape
        return r.ravel(), z.ravel(), weights.reshape(self.count * ORDER, -1)


def towers(coil, sections):
    radius, length, base = coil["diameter_m"] / 2, coil["length_m"] / sections, coil["base_height_m"]

    def line(first, edge):
        def place(which, u):
            e = edge[which][:, None]
            fraction = numpy.where(e > 0, 1 - (1 - u) ** 2, numpy.where(e < 0, u * u, u))
            return numpy.full_like(u, radius), base + (first[which][:, None] + fraction) * length

        return place

    inner = numpy.arange(1, sections - 1)
    ends = numpy.array([0, sections - 1])
    none = numpy.zeros(sections - 2, dtype=int)
    edge = numpy.array([-1, 1])
    uniform = Strips(1, line(inner, none), numpy.full(sections - 2, radius), numpy.zeros(sections - 2, bool), none)
    tips = Strips(3, line(ends, edge), numpy.full(2, radius), numpy.zeros(2, bool), edge)
    return uniform, tips


def torus(body, end):
    pieces = 6
    tube = body["tube_diameter_m"] / 2
    centre = body["outer_diameter_m"] / 2 - tube
    sweep = 2 * numpy.pi / pieces
    start = sweep * numpy.arange(pieces)
    mean = centre + tube * (numpy.sin(start + sweep) - numpy.sin(start)) / sweep

    def place(which, u):
        angle = start[which][:, None] + u * sweep
        return centre + tube * numpy.cos(angle), end + body["height_m"] + tube * numpy.sin(angle)

    towards = numpy.cos(start + sweep) < numpy.cos(start)
    return Strips(3, place, mean, towards, numpy.zeros(pieces, dtype=int))


def own(strips, which):
    """Blocks of strips with themselves: logarithm taken out by x = s^2, y = s^4 on either triangle."""
    x = (S ** 2)[:, None]
    y = (S ** 4)[None, :]
    weight = (2 * S * SW * S ** 2)[:, None] * (4 * S ** 3 * SW)[None, :]
    near = numpy.broadcast_to(x, (SINGULAR, SINGULAR)).ravel()
    far = (x * (1 - y)).ravel()
    back = strips.reversed[which][:, None]
    p = strips.sample(which, numpy.where(back, 1 - near, near))
    q = strips.sample(which, numpy.where(back, 1 - far, far))
    kernel = ring_potential(p[0], p[1], q[0], q[1]) * weight.ravel()
    block = numpy.einsum("sp,spk,spl->skl", kernel, p[2], q[2], optimize=True)
    return block + block.transpose(0, 2, 1)


def touching(a, which_a, end_a, b, which_b, end_b):
    """Blocks of strips that share one end: distances from it (x, x y) and (x y, x)."""
    x = (S ** 3)[:, None]
    weight = ((3 * S ** 2 * SW * S ** 3)[:, None] * SW[None, :]).ravel()
    long = numpy.broadcast_to(x, (SINGULAR, SINGULAR)).ravel()
    short = (x * S[None, :]).ravel()
    total = 0
    for t, v in ((long, short), (short, long)):
        p = a.sample(which_a, numpy.where(end_a[:, None], 1 - t, t))
        q = b.sample(which_b, numpy.where(end_b[:, None], 1 - v, v))
        kernel = ring_potential(p[0], p[1], q[0], q[1]) * weight
        total = total + numpy.einsum("sp,spk,spl->skl", kernel, p[2], q[2], optimize=True)
    return total


def moments(strips):
    """Per strip and shape: charge, and charge weighted with the fraction of the way."""
    u, w = gauss(16)
    u = numpy.broadcast_to(u, (strips.count, 16))
    r, z, shape = strips.sample(numpy.arange(strips.count), u)
    shape = shape * w[None, :, None]
    return shape.sum(axis=1), z, shape


def capacitance_f(coil, body, sections):
    uniform, tips = towers(coil, sections)
    ring = torus(body, coil["base_height_m"] + coil["length_m"])
    n = uniform.count
    total = 2 * n + 8 + 4 * ring.count
    matrix = numpy.empty((total, total))
    at_tips, at_ring = 2 * n, 2 * n + 8

    # Equal sections: one strip against all, and the first and the last against all images.
    r, z, weights = uniform.points()
    one = weights[:ORDER, :2]
    blocks = (one.T @ (ring_potential(r[:ORDER, None], z[:ORDER, None], r, z) @ weights)).reshape(2, n, 2)
    blocks = blocks.transpose(1, 0, 2).copy()
    zero, first = numpy.zeros(1, dtype=int), numpy.ones(1, dtype=int)
    blocks[0] = own(uniform, zero)[0]
    blocks[1] = touching(uniform, zero, numpy.array([True]), uniform, first, numpy.array([False]))[0]
    low = (one.T @ (ring_potential(r[:ORDER, None], z[:ORDER, None], r, -z) @ weights)).reshape(2, n, 2)
    high = (one.T @ (ring_potential(r[-ORDER:, None], z[-ORDER:, None], r, -z) @ weights)).reshape(2, n, 2)
    images = numpy.concatenate([low.transpose(1, 0, 2), high.transpose(1, 0, 2)[1:]])
    i, j = numpy.indices((n, n))
    direct = blocks[numpy.abs(i - j)]
    direct = numpy.where((j >= i)[..., None, None], direct, direct.transpose(0, 1, 3, 2))
    matrix[: 2 * n, : 2 * n] = (direct - images[i + j]).transpose(0, 2, 1, 3).reshape(2 * n, 2 * n)

    # The two ends and the toroid against everything.
    tips_r, tips_z, tips_w = tips.points()
    ring_r, ring_z, ring_w = ring.points()
    all_r, all_z = numpy.concatenate([r, tips_r, ring_r]), numpy.concatenate([z, tips_z, ring_z])
    special_r, special_z = all_r[n * ORDER:, None], all_z[n * ORDER:, None]
    special_w = linalg.block_diag(tips_w, ring_w)
    columns = [slice(0, n * ORDER), slice(n * ORDER, (n + 2) * ORDER), slice((n + 2) * ORDER, None)]

    def rows(kernel):
        half = special_w.T @ kernel
        parts = [half[:, columns[0]] @ weights, half[:, columns[1]] @ tips_w, half[:, columns[2]] @ ring_w]
        return numpy.concatenate(parts, axis=1)

    plain = rows(ring_potential(special_r, special_z, all_r, all_z))
    mirrored = rows(ring_potential(special_r, special_z, all_r, -all_z))
    base = 2 * n

    def put(row, column, block):
        plain[row - base: row - base + block.shape[0], column: column + block.shape[1]] = block
        if column >= base:
            plain[column - base: column - base + block.shape[1], row: row + block.shape[0]] = block.T

    both, edges = numpy.array([0, 1]), numpy.array([0, n - 1])
    for k, block in enumerate(own(tips, both)):
        put(at_tips + 4 * k, at_tips + 4 * k, block)
    for k, block in enumerate(touching(tips, both, numpy.array([True, False]), uniform, edges,
                                       numpy.array([False, True]))):
        put(at_tips + 4 * k, 2 * edges[k], block)
    arcs = numpy.arange(ring.count)
    yes = numpy.ones(ring.count, bool)
    for k, block in enumerate(own(ring, arcs)):
        put(at_ring + 4 * k, at_ring + 4 * k, block)
    for k, block in enumerate(touching(ring, arcs, yes, ring, (arcs + 1) % ring.count, ~yes)):
        put(at_ring + 4 * k, at_ring + 4 * ((k + 1) % ring.count), block)
    matrix[base:] = plain - mirrored
    matrix[: base, base:] = matrix[base:, : base].T

    # Potentials run linearly from node to node.
    excitation = numpy.zeros((total, sections + 1))
    for strips, at, nodes in ((uniform, 0, numpy.arange(1, sections - 1)),
                              (tips, at_tips, numpy.array([0, sections - 1]))):
        charge, height, shape = moments(strips)
        bottom = coil["base_height_m"] + nodes * coil["length_m"] / sections
        fraction = (height - bottom[:, None]) / (coil["length_m"] / sections)
        ramp = (shape * fraction[..., None]).sum(axis=1)
        size = strips.degree + 1
        index = at + size * numpy.arange(strips.count)[:, None] + numpy.arange(size)
        excitation[index, nodes[:, None]] = charge - ramp
        excitation[index, nodes[:, None] + 1] = ramp
    excitation[at_ring:, sections] = moments(ring)[0].ravel()
    factor = linalg.cho_factor(matrix, lower=True, check_finite=False)
    return 4 * numpy.pi * EPS0 * excitation.T @ linalg.cho_solve(factor, excitation, check_finite=False)


def sheet_h(diameter, length):
    """Lorenz's current sheet of one turn per metre."""
    square = diameter ** 2 + length ** 2
    m, m1 = diameter ** 2 / square, length ** 2 / square
    k = numpy.sqrt(m)
    return MU0 * diameter ** 3 / 3 * ((2 * m - 1) / k ** 3 * ellipe(m) + m1 / k ** 3 * ellipkm1(m1) - 1)


def ring_mutual_h(radius, distance):
    m1 = distance ** 2 / (4 * radius ** 2 + distance ** 2)
    m = 1 - m1
    k = numpy.sqrt(m)
    return MU0 * radius * ((2 / k - k) * ellipkm1(m1) - 2 / k * ellipe(m))


def inductance_h(coil, sections):
    radius, pitch = coil["diameter_m"] / 2, coil["length_m"] / coil["turns"]
    length, turns = coil["length_m"] / sections, coil["turns"] / sections
    apart = numpy.arange(1, sections)
    near = 4
    sheets = numpy.concatenate([[0.0], sheet_h(coil["diameter_m"], length * numpy.arange(1, near + 1))])
    mutual = numpy.empty(sections)
    mutual[0] = sheets[1]
    mutual[1:near] = numpy.diff(sheets, 2) / 2
    x, w = numpy.polynomial.legendre.leggauss(10)
    for sign in (-1, 1):
        t = sign * length * (1 + x) / 2
        far = length * apart[near - 1:, None] + t
        part = (length - numpy.abs(t)) * ring_mutual_h(radius, far) @ numpy.diag(w)
        mutual[near:] = (mutual[near:] if sign > 0 else 0) + length / 2 * part.sum(axis=1)
    m = numpy.arange(1, int(numpy.ceil(coil["turns"])) + 1)
    even = numpy.arange(2, 60, 2)[:, None]
    nearness = (2 / (even * (even + 1) * (even + 2) * numpy.power(m.astype(float), even))).sum(axis=0)
    nearness[0] = 1.5 - 2 * numpy.log(2)
    sums, moment = numpy.cumsum(nearness), numpy.cumsum(m * nearness)
    span = turns * numpy.arange(1, sections + 1)
    # Turns strictly below the span; a whole number that rounding has pushed over itself counts as itself.
    below = numpy.ceil(span - 1e-9).astype(int) - 1
    filled = below > 0
    pairs = numpy.zeros(sections + 1)
    pairs[1:][filled] = 2 * (span[filled] * sums[below[filled] - 1] - moment[below[filled] - 1])
    correction = numpy.empty(sections)
    correction[0] = turns * (1.25 - numpy.log(2 * pitch / coil["wire_diameter_m"])) + pairs[1]
    correction[1:] = numpy.diff(pairs, 2) / 2
    by_distance = mutual / pitch ** 2 - MU0 * radius * correction
    return linalg.toeplitz(by_distance)


def modes_hz(coil, body, sections):
    inductance = inductance_h(coil, sections)
    capacitance = capacitance_f(coil, body, sections)[1:, 1:]
    incidence = numpy.eye(sections) - numpy.eye(sections, k=1)
    lower_c = linalg.cholesky(capacitance, lower=True, check_finite=False)
    lower_l = linalg.cholesky(inductance, lower=True, check_finite=False)
    z = linalg.solve_triangular(lower_c, incidence, lower=True, check_finite=False)
    z = linalg.solve_triangular(lower_l, z.T, lower=True, check_finite=False)
    squared, shapes = linalg.eigh(z @ z.T, check_finite=False)
    linalg.solve_triangular(lower_l, shapes, trans="T", lower=True, check_finite=False)  # currents, as the program has
    return numpy.sqrt(squared) / (2 * numpy.pi)


EXAMPLE_COIL = {"diameter_m": 0.11, "length_m": 0.5, "turns": 1000, "wire_diameter_m": 0.4e-3, "base_height_m": 0.3}
EXAMPLE_TOROID = {"outer_diameter_m": 0.4, "tube_diameter_m": 0.1, "height_m": 0.08}
