"""Wear against its limits: shaft and points, coil, vacuum unit; and the timing of the engine.

THEORY: dwell, gap, spark, coil, vacuum capsule, timing

Cited in this room as "theory, equation n", elsewhere as "recurve.inspection, equation n". Derived here unless a source
stands beside it. Angles are the distributor's except in section 6. Limits stand in data/limits.toml, each with its
source.

1. A measured value against a limit

A ± is a half-width (recurve.fit, equation 1). A value passes or fails only where all of ± lies on one side of the
limit; otherwise it is too close to call. Of a sum or difference of values with half-widths a_i the half-width is

    two standard uncertainties, but never more than all ± together:   min(2 √(Σ a_i²/3), Σ a_i)    (1)

2. Dwell, timing, sparks

On a wheel whose figures rise as the shaft turns, points close at φ_c and open at φ_o. With N lobes

    pitch = 360°/N,   dwell = (φ_o − φ_c) mod 360°,   fraction = dwell/pitch                       (2)

The spark is at the opening. So a change of timing is read from opening angles. Where only dwell was read, half its
change is taken: it holds for symmetric lobes, and the report says that it is an assumption. Spacing errors are the
departures from even places of every two sparks apart, so errors that add up from lobe to lobe count; each pair has the ±
of its two. A figure that is nearer to the place of another lobe is a slip, not wear.

3. Gap and dwell

The tip of a lobe is taken as a parabola (an assumption, told with the number). The points are open for the angle 2w
and the largest lift past opening is the gap g, so the lift at the angle φ from the tip is g (1 − φ²/w²), rising 2g/w
per radian at the opening. A change of dwell δ moves each end by δ/2:

    w = (pitch − dwell)/2,   change of gap = −g δ/w                                                (3)

Side play of the shaft at the block counts as a change of gap by lever ratio × play; (3) turned round gives the change
of dwell it would make. A measured change far from that hints at a mis-reading.

4. Rotor and coil

Mechanical advance turns cam and rotor alike. Vacuum advance turns the breaker plate: the spark comes earlier by a_v
and finds the rotor's tip that far back. With the offset o of the tip past the segment,

    tip stands between o and o − a_v;   overlap left = (tip + segment)/2 − largest of |o|, |o − a_v|   (4)

Primary current from the closing of the points on, with no current before, and the energy stored at the opening:

    t = dwell/ω,   i = (V/R)(1 − exp(−R t/L)),   W = ½ L i²                                        (5)

R is the whole circuit's resistance with the ballast. (Circuit theory: L di/dt + R i = V.)

5. Vacuum unit

A sprung capsule moves not at all up to its start p₀, then at a rate κ, then stands at its stop a_m. Stiction ς delays
it either way:

    a(p) = κ (p − p₀ ∓ ς) held between 0 and a_m    − vacuum rising, + falling                     (6)

p₀, κ, a_m and ς are found by least squares from several starts. Reading and gauge both scatter, σ² = (a_r² + (slope ·
a_g)²)/3. A stop is fitted only where two readings at clearly different vacuums share the top, stiction only where
there are readings both ways. The covariance is the inverse of JᵀJ, enlarged by χ²/(readings − numbers) where that
exceeds 1. Full advance is at p₀ + a_m/κ; rising and falling lie 2κς apart. In a leak test the same gauge reads twice,
so its offset drops out and half of (1) is left.

6. Timing on the engine

ρ is crank turns per distributor turn. All timing is before top dead centre at the crank; Ω is the crank's speed.

    timing(Ω) = static + ρ α(Ω/ρ) + ρ a_v                                                          (7)
    static = total − ρ α_stop                                                                      (8)

An engine is set by its total, since too much of it is what breaks pistons. The speed at which to set is 5 % past
all-in, of the unit and of the book, rounded up to 50 rpm (crank): there both are flat. The card also says what a unit
as found would do if it were set by the light at idle: static is then the reading less ρ times the advance in at idle,
falling, and the total (8) turned round; and what it does at the book's static. The book's advance at a speed is the
figure that it states, or the middle of its band, and 0 for a band from 0. Of readings without a model, what stays in at
idle is told by falling readings alone, and by none that ended above it; no timing is told below the lowest of them, nor
above the highest while they still climb there, and the total is then the least that it can be.

Offers:

- `bench`: `DwellChange`, `Judged`
- `findings`: `Cause`, `Finding`, `Number`, `repairs`, `Severity`, `Words`, `worst_first`
- `inspected`: `inspect_unit`, `Inspected`
- `model`: `Condition`, `Hold`, `Inspection`, `PointsAngles`, `Rotor`, `Timing`, `Vacuum`, `VacuumPoint`,
  `VacuumReading`
- `points`: `Charge`, `Coil`, `dwell_between`, `dwell_of_fraction`, `pitch`, `RotorSweep`
- `timing`: `Card`, `CAUTIONS`, `crank_timing`, `IdleTrap`, `make_card`, `Setting`, `TimingVerdict`
- `timing_curves`: `LEVEL`, `Advance`, `book_curve`, `maximum_of`, `ReadCurve`, `TableCurve`
- `vacuum`: `Capsule`, `vacuum_advance`
- `wheel`: `SparkRow`
"""
