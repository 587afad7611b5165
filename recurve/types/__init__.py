"""Types of unit: what units measured before tell of the next of their type.

THEORY: partial pooling

Cited in this room as "theory, equation n", elsewhere as "recurve.types, equation n". Source: A. Gelman and others,
Bayesian Data Analysis, 3rd ed., section 5.4 (the normal hierarchical model; from memory), whose data on eight schools are
solved in tests/types.

1. Units of a type

Unit j of J was measured y_j with standard uncertainty u_j. The units of a type scatter by τ about their mean μ:

    y_j ~ N(θ_j, u_j²),   θ_j ~ N(μ, τ²)                                                           (1)

μ has a flat prior and τ a half-normal one of scale s (data/ranges.toml, [type]). Given τ, with w_j = 1/(τ² + u_j²),

    μ̂(τ) = Σ w_j y_j / Σ w_j,   V(τ) = 1/Σ w_j                                                     (2)
    p(τ | y) ∝ exp(−τ²/2s²) · √V(τ) · Π √w_j exp(−½ w_j (y_j − μ̂(τ))²)                             (3)

τ is taken on a grid, so that nothing is approximated but the sums. Means over (3) give the type's

    mean μ̄ = E μ̂,   uncertainty² = E V + var μ̂,   spread² = E τ²                                   (4)

and spread² + uncertainty² is the variance of the same quantity in the next unit. One unit leaves τ at its prior: the
spread is s. Ten units make their own.

2. A unit that does not belong

Each unit is predicted from the others. For a grid of τ the distribution of y_j is a mixture of normal ones of variance
τ² + V(τ) + u_j², weighted by (3) of the others; it has the tails that few units need. p is twice the smaller tail. Over
the q quantities of a unit, with z = Φ⁻¹(1 − p/2),

    p_unit = 2 min(q · min p, P(χ²_q > Σ z²))                                                      (5)

A unit is named where p_unit is below 0.05 over the number of units. What must be alike (lobes, rotation, kind of drive)
and is not, is named as such, and is not among the others of any unit. Two units cannot tell which of them is wrong: of these
it is said that they are apart, where p_unit of one against the other is below 0.05, and so of units that have what must be
alike in halves, none in the majority.

3. A unit against its type

What a unit shows by itself is held against the type: what its job states of a quantity that the type has, its stop too; and
by its sweep, the rates and stretches of the springs found in it. Let χ²(θ) be that of readings, facts and priors with nothing
said of the springs, and d(θ) the springs' differences from the type, of variance T by (4). The sweep tells

    Δ = min [χ²(θ) + dᵀ T⁻¹ d] − min χ²(θ)                                                        (6)

the logarithm of a ratio of likelihoods, twice. A middle and a ± of the springs by the sweep alone would not do: a sweep may
allow springs quite unlike each other, and what the trade usually has must not choose between them. With the differences e of
what was stated, of variance E,

    p = P(Σ t²_ν > Δ + eᵀ E⁻¹ e),   odds = exp(−Δ/2)/√|T + C| over the same with T + W for T       (7)

where C is the covariance of the springs by the sweep, and W how far units of other types lie off ([type] `other`). The
spread of a type of J units is itself known by J − 1 degrees of freedom, so each square is that of a t distribution, whose ν
is (J − 1)/(share of the type in the variance)², at least 3 for J − 1 (Welch and Satterthwaite; from memory). The rate of a
spring is fitted with I′ of the type: a unit with other weights shows as a unit with other springs, and the other way round.
A unit does not fit where p is below 0.02, or below 0.1 at odds below 1/2. Types that pull alike and stop alike cannot be
told apart by a sweep and a degree wheel, whatever the test.

Offers:

- `belonging`: `belonging`, `Belonging`
- `facts`: `as_slope`, `facts_of`, `unlike_type`
- `learning`: `Apart`, `learn`, `LearnedType`, `Misfit`
"""
