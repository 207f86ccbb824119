"""What find_below_band does, in vectorised numpy and scipy: the corrected data pooled, the distributed model and its
shapes fitted to them with their priors, the resonance, its uncertainty through every prior, and the fitted curve.

Same residuals, same start, one start, MINPACK on both sides (scipy's 'lm'). All groups, shapes and modes are arrays.
Derivatives are analytic, from the modal currents that the model needs anyway: with the impedance matrix Z = r O + j X of
the modes, O symmetric, and y = Z^-1 f, the admittance Y = f^T y has dY = -y^T dZ y. For an open standard without a
load standard. Used by side_by_side.
"""
import numpy
from scipy import linalg
from scipy.interpolate import CubicSpline
from scipy.optimize import least_squares

GROUPS, NARROWEST, NOISY = 100, 0.05, 0.02
SMOOTH, PHASE = 2e-5, 3e-3  # relative errors, as in below_band_curve.cpp
TAU = 2 * numpy.pi
# The first parameters; then the edge, the edge's phases and the shapes.
CAPACITANCE, RESONANCE, LOSS, SLOPE, STRAY, TANGENT, CONDUCTANCE, SUSCEPTANCE, OWN, EDGE = range(10)


def pool(f, z, variance, band):
    """Groups' frequencies, admittances, and standard deviations of the imaginary and the real part."""
    used = slice(numpy.searchsorted(f, band[0]), numpy.searchsorted(f, band[1], "right"))
    f, z, variance = f[used], z[used], variance[used]
    widest, starts, at = (f[-1] - f[0]) / GROUPS, [], 0
    while at < f.size:
        starts.append(at)
        at = max(at + 1, int(numpy.searchsorted(f, f[at] + min(widest, NARROWEST * f[at]))))
    omega, size = TAU * f, numpy.diff(starts + [f.size])
    square = z.real ** 2 + z.imag ** 2
    # The middle of the sorted relative deviations lies above the limit if too few lie below it.
    quiet = numpy.add.reduceat((variance <= 2 * NOISY ** 2 * square).astype(int), starts)
    noisy = quiet <= size // 2

    def pooled(value, spread):
        weight = numpy.where(spread > 0, 1 / spread, 1e40)
        fine = numpy.isfinite(weight) & numpy.isfinite(value)
        weight, value = numpy.where(fine, weight, 0), numpy.where(fine, value, 0)
        total = numpy.add.reduceat(weight, starts)
        return (total, numpy.sqrt(numpy.add.reduceat(weight * f * f, starts) / total),
                numpy.add.reduceat(weight * value, starts) / total)

    weight, centre, elastance = pooled(1j * omega * z, variance * omega ** 2)
    admittance = 1j * TAU * centre / elastance
    noise = TAU * centre * numpy.sqrt(0.5 / weight) / numpy.abs(elastance) ** 2
    if noisy.any():
        weight, other, capacitance = pooled(1 / (1j * omega * z), variance / (square * omega) ** 2)
        centre = numpy.where(noisy, other, centre)
        admittance = numpy.where(noisy, 1j * TAU * other * capacitance, admittance)
        noise = numpy.where(noisy, TAU * other * numpy.sqrt(0.5 / weight), noise)
    size = numpy.abs(admittance)
    return centre, admittance, numpy.hypot(noise, SMOOTH * size), numpy.hypot(noise, PHASE * size)


class Family:
    """The modes of every shape, brought to the described static capacitance and first resonance; built beforehand."""

    def __init__(self, given):
        squares, feet, shunts, whole = [], [], [], []
        for k, member in enumerate(given["members"]):
            inductance, capacitance = numpy.array(member["inductance_h"]), numpy.array(member["capacitance_f"])
            n = len(inductance)
            incidence = numpy.eye(n) - numpy.eye(n, k=1)
            free, coupling = capacitance[1:, 1:], capacitance[1:, 0]
            square, current = linalg.eigh(incidence.T @ linalg.solve(free, incidence, assume_a="pos"), inductance)
            floating = linalg.solve(free, coupling, assume_a="pos")
            row = incidence.T @ floating
            row[0] += 1
            squares.append(square)
            feet.append(current.T @ row)
            shunts.append(capacitance[0, 0] - coupling @ floating)
            whole.append(capacitance.sum())
            if k == 0:
                self.overlap = current.T @ current
        self.square, self.foot, self.shunt = numpy.array(squares), numpy.array(feet), numpy.array(shunts)
        self.static_f, self.first_hz = whole[0], numpy.sqrt(squares[0][0]) / TAU
        self.capacitance = whole[0] / numpy.array(whole)
        self.inductance = self.square[:, 0] / self.square[0, 0] / self.capacitance
        self.foot_square = (self.foot ** 2)[:, :, None]
        self.own = numpy.diag(self.overlap)
        self.others = self.overlap - numpy.diag(self.own)
        self.branch_ohm = CubicSpline(given["resistance_frequency_hz"], given["branch_resistance_ohm"])

    def described(self, omega, a, b, r):
        """The described shape with its loss: admittance, and its derivatives by b and by the logarithm of r."""
        inductive = omega[:, None] * numpy.exp(-2 * b - a)
        x = inductive - self.square[0] / (omega[:, None] * numpy.exp(a))
        inverse = 1 / (r[:, None] * self.own + 1j * x)
        y = inverse * self.foot[0]
        for _ in range(60):  # the modes' coupling through the loss, each round a Q closer
            both = numpy.concatenate([y.real, y.imag]) @ self.others
            ahead = inverse * (self.foot[0] - r[:, None] * (both[: omega.size] + 1j * both[omega.size:]))
            change, y = ahead - y, ahead
            if numpy.all((change.real ** 2 + change.imag ** 2).sum(axis=1)
                         <= 1e-26 * (y.real ** 2 + y.imag ** 2).sum(axis=1)):
                break
        admittance = 1j * omega * numpy.exp(a) * self.shunt[0] + y @ self.foot[0]
        by_resonance = 2j * (y * y * inductive).sum(axis=1)
        half = numpy.concatenate([y.real, y.imag]) @ self.overlap
        by_loss = -r * (y * (half[: omega.size] + 1j * half[omega.size:])).sum(axis=1)
        return admittance, by_resonance, by_loss

    def shapes(self, omega, a, b):
        """What each other shape changes, free of loss: susceptances, and their derivatives by b."""
        farad = numpy.exp(a) * self.capacitance[:, None, None]
        inductive = omega[:, None] * (numpy.exp(-2 * b - a) * self.inductance[:, None, None])
        inverse = 1 / (inductive - self.square[:, None, :] / (omega[:, None] * farad))
        through = (inverse @ self.foot_square)[..., 0]
        susceptance = omega * farad[..., 0] * self.shunt[:, None] - through
        by_resonance = -2 * inductive[..., 0] * ((inverse * inverse) @ self.foot_square)[..., 0]
        return susceptance[1:] - susceptance[0], by_resonance[1:] - by_resonance[0]


class Problem:
    def __init__(self, family, priors, f, admittance, imaginary_sigma, real_sigma, edge_hz):
        self.family, self.priors, self.admittance = family, priors, admittance
        self.sigma = numpy.stack([imaginary_sigma, real_sigma], axis=-1)
        self.edge_hz, self.scale = edge_hz, priors["log_scale"]
        self.shapes = EDGE + len(priors["edge_powers"]) + priors["edge_phases"]
        self.parameters = self.shapes + len(family.shunt) - 1
        self.at(f)
        self.known = numpy.eye(self.parameters)
        self.known[:2] = 0
        self.known[0, CAPACITANCE] = self.scale / priors["capacitance"]
        self.known[1, [RESONANCE, CAPACITANCE]] = numpy.array([-2, -1]) * self.scale / priors["inductance"]
        self.cached = None

    def at(self, f):
        """What depends on frequency alone."""
        p, self.f, self.omega = self.priors, f, TAU * f
        self.log_edge = numpy.log(f / self.edge_hz)
        self.branch_ohm = self.family.branch_ohm(f)
        self.edge = numpy.zeros((f.size, self.shapes - EDGE))
        for k, (power, gain) in enumerate(zip(p["edge_powers"], p["edge_gain"])):
            self.edge[:, k] = gain * (f / self.edge_hz) ** power

    def ohm(self, x, f_log, branch):
        return branch * numpy.exp(self.priors["loss"] * x[LOSS] + self.priors["loss_slope"] * x[SLOPE] * f_log)

    def coil(self, x):
        a, b = self.scale * x[CAPACITANCE], self.scale * x[RESONANCE]
        described, by_b, by_loss = self.family.described(self.omega, a, b, self.ohm(x, self.log_edge, self.branch_ohm))
        shapes, shapes_by_b = self.family.shapes(self.omega, a, b)
        tangent = self.omega * (self.family.static_f * numpy.exp(a) * self.priors["loss_tangent"])
        moved = x[self.shapes:]
        return (described + 1j * (moved @ shapes) + tangent * x[TANGENT], by_b + 1j * (moved @ shapes_by_b), by_loss,
                shapes, tangent)

    def evaluated(self, x):
        if self.cached is None or not numpy.array_equal(self.cached[0], x):
            parts = self.coil(x)
            turn = 1 / (1 + 1j * self.omega * (self.priors["reference_tau_s"] * x[OWN]))
            edge = 1 + self.edge @ x[EDGE: self.shapes]
            self.cached = (x.copy(), parts, turn, edge, parts[0] * turn * edge)
        return self.cached

    def rows(self, values):
        """Imaginary and real parts in their standard deviations, in turn: along the first axis."""
        return (numpy.stack([values.imag, values.real], axis=-1) / self.sigma).reshape(*values.shape[:-1], -1)

    def residuals(self, x):
        bent = self.evaluated(x)[4]
        stray = 1j * self.omega * (self.priors["stray_f"] * x[STRAY])
        return numpy.concatenate([self.rows(bent + stray - self.admittance), self.known @ x])

    def jacobian(self, x):
        _, (coil, by_b, by_loss, shapes, tangent), turn, edge, bent = self.evaluated(x)
        factor = turn * edge
        columns = numpy.zeros((self.parameters, self.f.size), complex)
        columns[CAPACITANCE] = self.scale * (coil + by_loss) * factor
        columns[RESONANCE] = self.scale * by_b * factor
        columns[LOSS] = self.priors["loss"] * by_loss * factor
        columns[SLOPE] = self.priors["loss_slope"] * self.log_edge * by_loss * factor
        columns[STRAY] = 1j * self.omega * self.priors["stray_f"]
        columns[TANGENT] = tangent * factor
        columns[OWN] = -1j * self.omega * self.priors["reference_tau_s"] * turn * bent
        columns[EDGE: self.shapes] = self.edge.T * (coil * turn)
        columns[self.shapes:] = 1j * shapes * factor
        return numpy.concatenate([self.rows(columns).T, self.known])

    def zero_reactance_hz(self, several):
        """Where the described shape's reactance is zero, for several sets of parameters at once: by secants."""
        a, b = self.scale * several[CAPACITANCE, 0], self.scale * several[RESONANCE, 0]

        def reactance(f):
            r = self.ohm(several, numpy.log(f / self.edge_hz), self.family.branch_ohm(f))
            return (1 / self.family.described(TAU * f, a, b, r)[0]).imag

        old = numpy.full(several.shape[1], self.family.first_hz * numpy.exp(b))
        new, old_value = old * (1 + 1e-6), reactance(old)
        for _ in range(20):
            value = reactance(new)
            step = value * (new - old) / (value - old_value)
            old, old_value, new = new, value, new - step
            if numpy.all(numpy.abs(step) < 1e-12 * new):
                return new
        raise SystemExit("the reactance has no zero near the mode")


def find(given, family, data, method="lm"):
    """Resonance, its 95 % uncertainty, the static capacitance, the sum of squares, the fitted curve, and the steps."""
    band, priors = given["band_hz"], given["priors"]
    groups = pool(*data, band)
    problem = Problem(family, priors, *groups, band[1])
    start = numpy.zeros(problem.parameters)
    low = groups[0].size // 8
    start[CAPACITANCE] = numpy.log(groups[1][low].imag / (TAU * groups[0][low]) / family.static_f) / problem.scale
    start[RESONANCE] = max(-0.5 * start[CAPACITANCE], numpy.log(1.05 * band[1] / family.first_hz) / problem.scale)
    found = least_squares(problem.residuals, start, jac=problem.jacobian, method=method,
                          x_scale="jac" if method == "lm" else 1.0, ftol=1e-8, xtol=1e-8, gtol=1e-15)
    x, rows = found.x, 2 * groups[0].size
    chi = found.fun[:rows] @ found.fun[:rows]
    # Otherwise find_below_band tries more starts, and the two would not do the same.
    if not (chi < 0.8 * rows and numpy.abs(found.fun[rows: rows + 2]).max() < 2.6 and abs(x[STRAY]) < 2.6):
        raise SystemExit("the below-band fit is not at ease with one start: choose another problem")

    moved = numpy.repeat(x[:, None], 5, axis=1)
    moved[LOSS, 1:3] += [0.05, -0.05]
    moved[SLOPE, 3:5] += [0.05, -0.05]
    zero = problem.zero_reactance_hz(moved)
    pick = numpy.zeros(problem.parameters)
    pick[RESONANCE] = 1
    pick[[LOSS, SLOPE]] = numpy.log(zero[[1, 3]] / zero[[2, 4]]) / (0.1 * problem.scale)
    q, r = linalg.qr(found.jac, mode="economic", check_finite=False)
    shares = (q @ linalg.solve_triangular(r, pick, trans="T", check_finite=False)) ** 2
    misfit = max(1.0, chi / (rows - problem.parameters))
    relative = (shares[:rows].sum() * misfit + shares[rows:].sum()) * problem.scale ** 2
    strain = max(numpy.abs(found.fun[rows: rows + 2]).max(), numpy.abs(x[problem.shapes:]).max(), abs(x[STRAY]),
                 numpy.abs(x[CONDUCTANCE: problem.shapes]).max())
    u95 = 2 * zero[0] * numpy.sqrt(relative + (priors["clock_ppm"] * 1e-6) ** 2 / 3) * max(1.0, strain / 2)

    problem.at(numpy.geomspace(groups[0][0], 0.97 * zero[0], 400))
    curve = 1 / (problem.coil(x)[0] + 1j * problem.omega * priors["stray_f"] * x[STRAY])
    return (zero[0], u95, family.static_f * numpy.exp(problem.scale * x[CAPACITANCE]), chi, numpy.abs(curve),
            found.nfev)
