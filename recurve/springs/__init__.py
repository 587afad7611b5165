"""Springs: what one pulls, can bear and weighs, the wire it is wound from, and how to have one wound.

THEORY: extension springs

Cited in this room as "theory, equation n", elsewhere as "recurve.springs, equation n". Sources: Shigley's Mechanical
Engineering Design by its equation numbers (second-hand, through transcriptions; its Example 10-6 is solved in
tests/springs); Machinery's Handbook, 31st ed., pp. 328–329; JCGM 100 for uncertainty. Derived here where no source
stands beside an equation.

    d; D; C     diameter of the wire; mean diameter of the coils [m]; index D/d
    N_b; N_a    coils of the body; active coils
    E; G; S_ut  modulus of elasticity; shear modulus; tensile strength [Pa]
    F; F_i      load; initial tension [N]
    k           rate [N/m]
    L; L₀       length inside the hooks [m], loaded; free

1. Pull and rate

    T = 0 before take-up, F_i + k (L − L₀) after                                                   (1)
    k = d⁴G/(8D³N_a),   N_a = N_b + G/E                                        (Shigley 10-9, 10-40)   (2)

An extension spring is one-sided: it cannot push. The hooks yield too: G/E turns for both by Shigley, half a coil each
by Machinery's Handbook. By the second count the spring is softer by the fraction

    1 − (N_b + G/E)/(N_b + 1)                                                                      (3)

which is told wherever turns are given. If the wire may be off by δ with D held, the rate may be off by (1 + δ/d)⁴ − 1.

2. What a spring bears

Static load only; fatigue is not judged. Strength S_ut = A/d^m, with A and m by material and range of diameter
(Shigley, Table 10-4), E and G from Table 10-5; figures and sources stand in data/wire.toml. Stresses at a load F:

    body torsion   K·8FD/(πd³),   K = (4C + 2)/(4C − 3), Bergsträsser                  (10-2, 10-5)    (4)
    hook bending   F [K_A·16D/(πd³) + 4/(πd²)],
                   K_A = (4C₁² − C₁ − 1)/(4C₁(C₁ − 1)),  C₁ = 2r₁/d                    (10-34, 10-35)  (5)
    hook torsion   K_B·8FD/(πd³),   K_B = (4C₂ − 1)/(4C₂ − 4),  C₂ = 2r₂/d             (10-36, 10-37)  (6)

r₁ is the mean radius of the hook, r₂ that at which it is bent up from the body. Hooks nobody described are taken as
full, r₁ = D/2, and bent up at r₂ = 2d, at most D/2 (common practice, no source). Each stress may reach a fraction of
S_ut, given by material. The allowed load is that at which the first stress gets there:

    F_max = least F with body, bending or torsion at its fraction of S_ut                          (7)
    extension allowed = max((F_max − F_i)/k, 0)                                                    (8)
    longest length = L₀ + extension allowed                                                        (9)

Where wire, outer diameter or material is not known, nothing is judged: the longest length is infinite.

3. Winding

Coils wound one on another lie under an initial tension. Its uncorrected stress, 8F_iD/(πd³), winds well within

    33500/exp(0.105C) ± 1000 (4 − (C − 3)/6.5) psi                             (Shigley 10-41)     (10)

The closed body is (N_b + 1)d long, and with two full hooks L₀ = 2(D − d) + (N_b + 1)d (10-39). A row of a catalogue
that contradicts these by far gets a remark, not an error: the spring may be good and the row wrong.

To wind a spring of a wanted rate, candidates are laid out as arrays: every wire size, outer diameters in steps of 0.05
mm, turns in quarters (halves where both hooks lie in one plane) about those (2) asks for; coils closed, with an
initial tension, or apart, without. A spring that pulls P at rest over posts L(0) apart may trade one for the other,

    L₀ = L(0) − (P − F_i)/k                                                                        (11)

and F_i is chosen so that the hooks come out full, within the middle 60 % of (10) and at most P. Where the free length
is given instead, F_i is as asked or in the middle of (10). Each limit leaves a room, 0 on the limit and 1 where it
could hardly be more; the least room is how robust a spring is:

    index            min(C − 4, 16 − C)/3                                                          (12)
    rate             1 − (|k/wanted − 1| + error by the wire)/tolerance
    hook count       1 − (3)/tolerance
    initial tension  1 − |F_i − middle|/half-width of (10)
    stress           1 − largest stress/allowed, at the longest length over the posts
    hooks            inside length/inside diameter of the coils, 0.85 to 1.10 (1 in the middle); coils apart: the gap
                     between coils, at most 0.3 d
    turns at least 3, outer diameter, hooks over the post, overall length: met or not

The figures of the limits are common practice, no source. Proposals are the best of each wire and material.

4. A spring weighed

Pulls Q_j and lengths L_j are read with standard uncertainties u_Q and u_L (from ±, recurve.fit, equation 1). The line
Q = level + k (L − middle) is fitted by weighted least squares; an error of length counts as one of pull:

    w_j = 1/(u_Q² + k² u_L²), repeated until k stands still; middle = Σ w_j L_j/Σ w_j              (13)
    u²(level) = 1/Σ w_j,   u²(k) = 1/Σ [w_j (L_j − middle)²],   uncorrelated                       (14)

enlarged by √(χ²/(n − 2)) where that exceeds 1. Initial tension is the line at L₀, with u² = u²(level) + (L₀ − middle)²
u²(k) + k² u²(L₀), and never negative. A reading that cannot be told from the closed length, L ≤ L₀ + 2√(u_L² +
u²(L₀)), had not opened the coils and is left out.

Offers:

- `spring`: `Catalogue`, `Spring`, `checked`, `rate_from_wire`, `tension`
- `wire`: `materials`, `unknown_material`, `wire_sizes`
- `stress`: `FATIGUE`, `STRESSES`
- `noted`: `as_measured`, `FIGURES`, `Noted`, `noted_remarks`, `shown_value`
- `weighing`: `Hung`, `measured_notes`, `STANDARD_GRAVITY`, `weigh`, `Weighed`, `WeighedSpring`
- `winding`: `Envelope`, `Wanted`, `Winding`, `Wound`, `check_lengths`, `coils_wound`, `hooks_stand`, `shortfall`,
  `wind`, `LIMITS`
"""
