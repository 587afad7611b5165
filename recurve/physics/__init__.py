"""The flyweights, the posts, the curve of a unit, and the target that judges it.

THEORY: how advance follows speed

Cited in this room as "theory, equation n", elsewhere as "recurve.physics, equation n". All equations are derived here
unless a source stands beside them. "Advance" and speed are the distributor's; SI units and radians throughout.

1. The mechanism, symbols and assumptions

The distributor shaft carries a base plate with equal flyweights. Each weight swings on a pivot of the base plate and
turns the breaker cam ahead of the shaft. Springs pull the cam back; a stop limits its travel.

    α       advance: the angle of the cam ahead of the shaft [rad], 0 at rest, α_stop at the stop
    ω       speed of the shaft [rad/s]
    n, m    number of weights; mass of one [kg]
    r(α)    distance of a weight's centre of gravity from the shaft axis [m]
    I(α)    n m r², moment of inertia of the weights' centres of gravity about the shaft [kg·m²]; I′ = dI/dα
    L(α)    length of a spring inside its hooks [m]; L′ = dL/dα [m/rad]; L₀ its free length
    T       pull of a spring [N]; k its rate [N/m]; F_i its initial tension [N]
    τ(α)    moment of all springs about the cam's axis, positive towards rest [N·m]
    T_d     drag of the rubbing block, a moment on the cam towards rest [N·m]
    T_f     friction, a constant moment against the motion [N·m]
    s       friction in proportion to load: a fraction of the centrifugal moment, against the motion [1]

Assumptions. The speed changes so slowly that each advance is an equilibrium. Bodies are rigid and move in one plane.
The weights are alike and evenly spaced, so gravity does no work in any position of the shaft. A weight's inertia about
its own centre of gravity adds a constant to I, so the shape of the weights drops out.

2. Balance of moments and the curve in closed form

In the frame that turns with the shaft the weights have the centrifugal potential −½ω²I(α). Their moment on the cam is
its slope, ½ω²I′. While the cam moves, the upper sign holds with speed rising and the lower with speed falling:

    ½ω²I′(α) = τ(α) + T_d ± T_f ± s·½ω²I′(α)                                                       (1)
    τ(α) = Σ_springs T·L′(α),   T = 0 before take-up, T = F_i + k (L − L₀) after                    (2)
    ω±²(α) = 2 (τ(α) + T_d ± T_f) / ((1 ∓ s) I′(α))                                                 (3)

(2) is the virtual work of the springs: a small advance dα lengthens a spring by L′dα. (3) gives speed from advance. No
root is sought, and whole families of units are computed at once as arrays. T_f stands for friction that does not
depend on speed; s stands for pins and pivots under the weights' own load. The rubbing block always drags the cam back
against the shaft, so T_d does not change sign. That is why a sweep up and down can tell drag from friction.

With the block's drag not measured, levers give it (common practice, no source; in `recurve.job.build`):

    T_d = breakers · F · (contact lever / block lever) · μ · r_cam · (1 − dwell / lobe pitch)       (4)

F is the force of the breaker spring at the contact, μ the coefficient of friction. The last factor is the fraction of
a turn for which the points are open: closed points carry the spring's force, and the block is unloaded.

3. Rising and falling branches, snap and plateau

With speed rising from a state of advance α₀ the weights go outward as long as ω² exceeds ω₊² on the way. With speed
falling from the top, α_top, they come inward as long as ω² is less than ω₋²:

    rising:   α(ω) = largest α in [α₀, α_stop] with max of ω₊² over [α₀, α] ≤ ω²; α₀ if there is none   (5)
    falling:  α(ω) = largest α in [0, α_top] with min of ω₋² over [α, α_top] ≤ ω²; 0 if there is none   (6)

So the rising branch inverts the running maximum of ω₊² and the falling branch the running minimum of ω₋² from the top.

Where ω₊² falls as α grows, the weights fly out from one advance to another at one speed: a snap. The rising and
falling branches then part even without friction. A snap is reported, and never planned. Where ω₊² jumps up, as where a
spring takes up with an initial tension, the advance waits while the speed climbs: a plateau. It is real on a bench.

    onset     speed at which advance begins:        √ω₊²(0), none if not positive                   (7)
    return    speed at which it is gone again:      √(min of ω₋² over [0, α_stop]), none if not positive
    all in    speed at which it meets the stop:     √(max of ω₊² over [0, α_stop])

Residual advance is the falling advance (6) at idle speed, which every job has (the rule is in `recurve.job.model`). It
is computed with T_d and again with T_d = 0, since drag may be all that brings a unit with slack springs back to rest. A
curve judged by a target that names an idle speed starts from the residual advance there, α₀ in (5), else from 0; a
sweep on a bench starts from what stays in at a standstill.

4. Take-up

A spring takes up at the advance α_t at which its posts are as far apart as it is long:

    L(α_t) = L₀;   α_t = 0 if L(0) ≥ L₀, none if L(α_stop) < L₀                                    (8)

At α_t the pull jumps from 0 to F_i. The grid of advances on which (3) is tabulated holds each α_t twice, seen from the
left and from the right, so that the jump is kept. Between its 2001 points ω² is interpolated by straight lines.

5. Stop

    α_stop = found − t·c,   c = 1 / (radius of the stop's faces), or measured with a feeler in the stop  (9)

t is the trim [m]: + built up (less advance), − filed (more). c is in rad/m.

6. Motions of the weights

Points are complex numbers in the frame that turns with the shaft: the shaft axis at 0, positive angles in the
direction of rotation. A job counts angles from the outward radius through the first weight's pivot. P is a weight's
pivot, G its centre of gravity, Q its drive point, all at rest; ψ is the angle by which the weight has swung. Where two
points are multiplied, a·b is their scalar product as vectors.

    r = |P + (G − P)e^{iψ}|                                                                        (10)
    r′ = R·(i(R − P)) ψ′ / r,   R = P + (G − P)e^{iψ}
    I′ = 2 n m r r′                                                                                (11)

Slot: the drive pin q = P + (Q − P)e^{iψ} stays on a radial ray of the cam plate, that is at the polar angle arg Q + α.
It is the crossing of that ray with the pin's circle about P that continues the position at rest, and

    ψ′ = |q|² / (q·(q − P))                                                                        (12)

Link: q keeps its distance from the cam's point c = C e^{iα}. Two circular arcs in contact do the same, Q and C being
their centres. q is the crossing of two circles that continues the position at rest, and

    ψ′ = (q − c)·(ic) / ((q − c)·(i(q − P)))                                                       (13)

Table: r is measured at three or more advances and taken as a quadratic in α by least squares, rows weighted by 1/(±).

Reference: I′ comes from a sweep with known springs; nothing of the weights is measured. With α_ref the stop in that
sweep and P_j the Legendre polynomials,

    log I′(α) = Σ_j c_j P_j(2α/α_ref − 1),   j = 0 … 4                                             (14)

The logarithm keeps I′ positive. The c_j, and every given number within its ± (springs, drag, friction, stop, zero),
are found together: (5) and (6) must explain all readings, rising and falling (maximum a posteriori by least squares;
see recurve.fit for ±, outliers and the error of speed). The priors of the c_j are normal about 0 with standard
uncertainties of 0.4, 0.1, 0.03, 0.01 for j = 1 … 4; they keep I′ smooth. The prior of c_0 is the median of (3) solved
for I′ at the readings with a standard uncertainty of 3, so the level is free. A reading at rest or at the stop only
bounds the moment, as it does in (5) and (6).

A motion is refused, with the number to look at, where the weights would move inward, bind before the largest stop, or
have their centre of gravity within half a degree of the line through shaft and pivot, so that its side is in doubt.

A sweep may show that I′ as described is off. Then I′ is multiplied by a polynomial of degree 3 or less in α.

7. Springs on posts

From points, with a and f the anchor and far posts where they are at α, v_a and v_f their velocities by α:

    L = |a − f| + post diameter (mean of the two)                                                  (15)
    L′ = (a − f)·(v_a − v_f) / |a − f|

A point on the base stays; one on the cam is z e^{iα}; one on weight j swings by ψ about P e^{2πi(j − 1)/n}. Bending
the post by b moves the anchor along the line through both posts at rest, + away from the far post. L(0) then grows by
b and L′ changes a little. From a table, L is a polynomial of degree 1 (two rows) or 2 in α by least squares; bending
adds b to L and leaves L′ alone. A spring that shortens as the cam advances would drive it on, and is refused.

8. Target, bands, margin

A band allows the advance from l to h at a speed; the band of the maximum asks the same of α_stop. Of a band with l ≤ 0
only the upper edge counts. The margin of an advance in a band is

    M = 1 − |α − (l + h)/2| / ((h − l)/2),   or  M = 1 − α/h  where l ≤ 0                          (16)

1 at the best place, 0 on an edge, negative outside. The margin of a unit is the least over all bands and both
branches. Solved for α, (16) gives the edges at a margin M: between them the margin is at least M.

    l_M = (l + h)/2 − (1 − M)(h − l)/2,   h_M = (l + h)/2 + (1 − M)(h − l)/2;   l ≤ 0: h_M = (1 − M) h   (17)

A target in crank terms is brought to the distributor first: speed / ratio, (advance − static) / ratio, where ratio is
crank turns per distributor turn and static the timing without advance if the book's figures include it.

9. Second computation by least energy

Every plan is checked by another road, which shares only L(α) and r(α) with (3). At a steady speed the advance settles
where no small move frees energy. With x the stretch of a spring, max(L − L₀, 0),

    V±(α) = Σ_springs (F_i x + ½k x²) + (T_d ± T_f) α − ½ω² (1 ∓ s)(I(α) − I(0))                   (18)

A rising sweep goes outward to the first minimum of V₊, a falling one inward from the stop to the first minimum of V₋.
The first minimum is sought on 721 advances and closed in on by golden section. Neither L′ nor r′ is used, and no
moment is formed. For weights known by I′ alone, I(α) − I(0) is its integral. At each speed the planned advance must
lie within 0.01° of what (18) gives between a hair below and a hair above that speed. Where it does not, the plan says
not to build from it.

10. Many units at once

`ensemble` computes (3), (5) and (6) for thousands of units that share the shapes L(α) and log I′(α), tabulated once.
Each has springs, drag, friction and stop of its own, and a grid of advances broken at its own second take-up.

Sources. The balance (1) is that of spring-loaded governors in textbooks of the theory of machines; published cases are
solved in tests/physics/test_governors.py, which names them. tests/physics/test_multibody.py holds the curves of slot
and link drives, with take-up, drag and friction, against an independent multibody simulation. All else is derived
here.

Offers:

- `curve`: `Drag`, `InertiaSlope`, `Installed`, `ROUNDING`, `Stop`, `Trace`, `Unit`, `residual_advance`,
  `speed_squared`, `trace`, `trace_and_residual`
- `mechanism`: `CorrectedWeights`, `Link`, `MOTION`, `Motion`, `RadialMotion`, `RadiusTable`, `ReferenceSlope`, `ScaledWeights`,
  `Slot`, `UntoldMotion`, `Weights`, `weight_faults`
- `posts`: `Body`, `BodyPoint`, `PointPosts`, `Posts`, `TablePosts`, `post_faults`, `takeup_advance`
- `target`: `Band`, `BandResult`, `Kind`, `Shaft`, `Target`, `judge`, `margins`, `passes`, `thinned`, `worst`
- `ensemble`: `Curves`, `Shapes`, `Units`, `curves`, `takeups`
- `energy`: `fallen`, `settled`
- `sweep`: `AsRead`, `Readings`, `Sweep`
- `logged`: `gathered`, `gathered_notes`
- `reference`: `KnownSpring`, `Reference`, `fit_reference`, `reference_faults`, `reference_notes`
- `reference_slips`: `reference_doubt`, `ReferenceDoubt`
"""
