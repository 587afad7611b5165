"""A sweep to the state of a unit: what the readings tell, how surely, and what they do not tell.

THEORY: uncertainty, and the fit of a sweep

Cited in this room as "theory, equation n", elsewhere as "recurve.fit, equation n". Derived here unless a source stands
beside it; symbols of recurve.physics.

1. Uncertainty

A ± is a half-width: the value is not off by more than a, and equally likely anywhere within. Its standard uncertainty
is that of a rectangular distribution (JCGM 100:2008, known as the GUM, 4.3.7):

    u = a/√3                                                                                       (1)

Results are reported as value ± 2u, about 95 %, and say so. Where a job gives no ±, data/ranges.toml and
data/limits.toml hold the trade's usual one (common practice, no source).

2. State and priors

A unit is described by parameters θ_i: for each spring ln k and the stretch at rest x = L(0) − L₀, negative where it is
slack; its initial tension F_i where that is not known; T_d, T_f, s; α_stop; the error ζ of the bench's zero; and up to
three modes of the mass geometry (section 6). The state z has the same numbers at a size of order 1:

    z_i = (θ_i − middle_i)/spread_i,   prior density ∝ exp(−½ Σ z_i²) within physical bounds, 0 outside   (2)

A quantity that was measured has its value as middle and u as spread. Otherwise (figures from data/ranges.toml):

    ln k              median 1.8 N/mm (primary), 6 N/mm (secondary); spread ln 3. Given without ±: 10 %
    x                 0.3 ± 1.2 mm (primary), −0.6 ± 1.5 mm (secondary), as standard uncertainties. Given: u of the free
                      length (0.1 mm without ±), or of the take-up times L′ there
    F_i               0, spread 2 N, not negative. 0 for a spring described by rate and length alone. Given: u
    T_d               7 mN·m, half-width 5. Given without ±: half-width 25 %. By levers: 35 %, since a coefficient of
                      friction is hardly better known. 0 with an electronic trigger
    T_f; s            0, spread 4 mN·m; 0, spread 0.03; never negative. Given without ±: 30 %
    α_stop            as found, spread 0.3°
    ζ                 0, spread 0.1°; 10° where readings at the crank come without static timing

Of a unit whose job names a type, ln k and x of springs that were not measured have the type's middles and twice its standard
deviations (recurve.types, equation 4): somebody may have changed the springs.

What else is known of a spring bears on several parameters at once. Such a fact y_f with standard uncertainty u_f adds a
term to (5), ((y_f − g_f(θ))/u_f)², where g_f is

    a pull, with the posts (or a calliper) e beyond their length at rest:   F_i + k (x + e)
    the pull at rest:                   F_i + k x, or 0 if x < 0           (5a)
    a take-up, beside a free length:    the advance where L(α) − L(0) = −x

A weight hung on it is a pull with e = L − L(0), u_f = √(u_W² + k² u_L²). "Slack" and "pulls" at rest bound x at 0.

Springs that are both undescribed are told apart by their order: the primary takes up first.

3. What a sweep should read

A sweep goes up from what stays in at a standstill, α₀, to its highest speed, and comes down from the advance reached
there (physics, equations 5 and 6). A zero taken on the bench at a speed ω₀ hides what was then in. So the reading at
speed ω is expected to be

    f(ω; z) = α(ω) − ζ − α_rising(ω₀)   (last term only with a zero taken at a speed)              (3)

The speed too is read with error, and where the curve is steep that scatters the reading. Mean and variance over the
speed's error are taken by the three-point Gauss–Hermite rule, exact for polynomials up to degree 5:

    nodes ω − √3 u_ω, ω, ω + √3 u_ω with weights 1/6, 4/6, 1/6:   f̄ = Σ w_j f_j,   var = Σ w_j (f_j − f̄)²   (4)

4. Posterior

With y the readings, a their half-width, σ_i² = a²/3 + var_i and r_i = (y_i − f̄_i)/σ_i,

    ln p(z | y) = −½ Σ r_i² − Σ ln σ_i − ½ Σ z_i² + constant                                       (5)

that is, readings scatter normally and independently about (3). The density bends where a take-up or the stop meets a
reading, and may have several tops.

Modes. 4096 states are drawn from a widened prior, each with the error of the zero that suits the readings best, since
the readings are linear in it. From the prior's middle, from the best of each kind of answer (primary slack or not,
secondary from rest, early, midway, late, never) and from three more, Σ r² + Σ z² is minimised by least squares. Distinct ends
within e⁻⁸ of the highest density are kept, at most five.

Where the rate or the stretch of a spring was not measured, or where that gives more than one mode, or one that is not flat,
descents from the prior may miss a hill. There the states are cooled first: a cloud of 1280 of them moves under p(z | y)
to a power that grows from 0 to 1. Take-ups are told apart finely there, and each group of them keeps a share of the cloud
to the end. Then the states of each kind gather about its best and move until they lie there as p(z | y) does. The descents
begin at the best states of the cloud.

Outliers. Residuals are compared with their own scatter, the median of |r| over 0.6745 but at least 1. A reading with
|r| > 4 times that is left out, the worst first, the fit made anew each time, and at most a fifth of the readings. It
is named in the report.

Scatter. A parameter costs freedom only as far as the readings determined it. With c_i the variance of z_i about the
best mode, from the Jacobian there,

    χ² = Σ r_i²,   ν = readings − Σ (1 − c_i)                                                      (6)

If chance would exceed χ² at ν degrees of freedom in fewer than one sweep in a hundred, a is enlarged by √(χ²/ν), and
the fit is made again: readings that scatter more than stated make everything less certain.

Samples. The posterior is sampled by adaptive multiple importance sampling (J.-M. Cornuet, J.-M. Marin, A. Mira and C.
P. Robert, Scandinavian Journal of Statistics 39, 2012; from memory). The proposal q is a mixture of Student t
components with 6 degrees of freedom: one a little wider than each mode, one of the prior's size. In each round 1024
states are drawn; every state so far is weighted by

    w ∝ p(z | y) / mean of all proposals so far, at z                                              (7)

and the mixture is fitted to the weighted states (expectation–maximisation). It ends when the states are worth 1000
equal ones, 1/Σw² ≥ 1000 with Σw = 1, or after 24 rounds.

Where there is a cloud, each kind of answer is a stratum, sampled by itself in the same way, from mixtures fitted to its
part of the cloud. One mixture for all would give up hills that it has not sampled well yet. With Z_k what stratum k holds,
the mean of p/q over its draws, and n_k the equal samples that its states are worth,

    weight of a state of stratum k ∝ Z_k w,   1/n = Σ (Z_k/ΣZ)²/n_k                                (7a)

The next round goes to the stratum that adds most to 1/n for its rounds, first to those that may hold much and are worth
few samples; until n ≥ 1000, or after 64 rounds more.

A fit has converged when the states are worth more than 100 and the means of two halves of them differ by less than 0.6
standard deviations. Whether a descent ended flat does not count: at a kink, as where a take-up meets a reading, no state
is flat. All draws are seeded: the same input gives the same numbers.

5. Estimates, and what is not determined

An estimate is the weighted mean. Its standard uncertainty is the weighted standard deviation. Where the posterior is
so lopsided that twice the deviation about the mean holds less than 95.45 %, it is half the distance that does.

A parameter whose posterior deviation is at least 0.7 of its prior deviation was not learnt from the readings. It is
reported "as given" if it was measured, otherwise "not determined", without a number. Nor does a take-up count as
learnt that, with a probability of 2 % or more, does not happen before the stop. Other modes that differ from the best
by 3 standard deviations are reported as other answers, with the speed and direction at which a reading would decide.

A sweep alone fixes rates and moments only relative to I′: (3) of recurve.physics is unchanged if k, F_i, T_d, T_f and
I′ all grow by one factor. So an uncertain mass geometry limits every rate.

6. Mass geometry

Each measured quantity of the weights, moved by its standard uncertainty, changes I′ by a relative amount that depends
on α. These changes, many and alike, are the rows of a matrix. Its singular values and vectors give the few independent
changes μ_j(α) with the same total covariance; up to three are kept, those above 0.001. Then

    I′(α) = I′₀(α) exp(Σ_j z_j μ_j(α))                                                             (8)

With no ± at all there is one mode, constant, 2 %. From a reference sweep the modes come from the covariance of its
coefficients (physics, equation 14), enlarged so that the variance of log I′ stays whole at every advance.

7. The unit as the sweep shows it

Plans start from the best mode: its springs, drag, friction and stop; I′ is corrected by the cubic through four values
of (8), which says all that three smooth modes can.

8. Ensemble and evidence

What is known of a unit is an ensemble of states of equal weight. They are drawn from the posterior by systematic
resampling or, without a sweep, from the priors by Sobol points, measured quantities equally likely within their ±.
"More than" in a finding is the fraction of 2048 states for which it holds: a yes above 0.95, a no below 0.05,
otherwise open.

Offers:

- `fit`: `AlternativeState`, `best_mode`, `Estimate`, `Fit`, `fit_sweep`, `fitted_job`, `slope_factor`
- `model`: `ends`, `slope_modes`, `SweepModel`
- `descent`: `Descent`, `descend`
- `posterior`: `find_modes`, `spread_starts`
- `state`: `Ensemble`, `Evidence`, `ensemble_of`, `SURE`
- `sobol`: `rectangular`, `sobol`
- `outline`: `Outline`, `Pieces`, `WHEEL`, `ZERO`, `fit_outline`, `scatter_about_outline`
"""
