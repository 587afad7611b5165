"""Which springs on which posts, what to do to the stop, and the curve that follows.

THEORY: why planning is linear, and so can be exact

Cited in this room as "theory, equation n", elsewhere as "recurve.planner, equation n". Derived here unless a source
stands beside it. Symbols are those of recurve.physics. The curve (physics, equation 3) is far from linear in springs
and posts. At the edge of a band, though, the unknown curve drops out: the advance is the edge, the speed is the
band's, and only the springs' moment is unknown.

1. Pulls at rest as unknowns

Primary spring: rate k, pull at rest u. Secondary: rate K, pull at rest v. A slack secondary has a v less than its
initial tension, also negative: what it would pull at rest if a spring could push. With A = L₁′ and B = (L₁ − L₁(0))
L₁′ of the primary's posts, C and D likewise of the secondary's, the moment of the springs is

    τ(α) = u A(α) + k B(α) + [secondary has taken up before α] · (v C(α) + K D(α))                 (1)

linear in u, k, v and K. The secondary has taken up at α where its pull has reached its initial tension F_i:

    v + K (L₂(α) − L₂(0)) ≥ F_i                                                                    (2)

The primary must pull from rest, so it has no such condition. A post bent by b, within its travel, sets u:

    u = F_i + k (L₁(0) + b₁ − L₀),   v = F_i + K (L₂(0) + b₂ − L₀)                                 (3)

2. Conditions

A band asks for at most h and at least l at speed ω. The falling branch lies above the rising one, so h binds the
falling branch and l the rising one. On a curve without a snap, physics (3) turned round gives

    at most h:    τ(h) ≥ N₋(h, ω),   N₋(α, ω) = ½ω²I′(α)(1 + s) − T_d + T_f                        (4)
    at least l:   τ(l) ≤ N₊(l, ω),   N₊(α, ω) = ½ω²I′(α)(1 − s) − T_d − T_f                        (5)

Where the target names an idle speed ω_i, a rising curve begins at the residual advance there. An upper edge below idle
speed then counts as one at idle speed, and a lower edge may be met by what stays in at idle:

    at most h:    τ(h) ≥ N₋(h, max(ω, ω_i)),   at least l:   τ(l) ≤ min(max(N₊(l, ω), N₋(l, ω_i)), N₋(l, ω))   (6)

No snap: (τ + T_d ± T_f)/I′ must not fall with α, for either sign. Differentiated, and multiplied by I′ to keep the
size of a moment, this too is linear in u, k, v, K. It is asked at 24 advances from rest to the stop:

    I′ d/dα [(τ + T_d ± T_f)/I′] ≥ 0                                                               (7)

The stop: of those that meet all lower edges at margin M, the smallest is best. An upper edge at or above the stop is
met by the stop itself, so the smallest stop switches off the most upper edges; it also asks (7) over the least travel.

    α_stop = largest of: least stop that trim gives, lower edge of the band of the maximum at M, all l_M      (8)

No stop reaches M where this exceeds the largest that trim and the band of the maximum allow.

3. A given pair: the exact search

For two given springs k and K are numbers; u and v are free within the posts' travel. Also at the stop no spring may be
longer than it bears (recurve.springs, equation 9). Between two neighbouring advances at which conditions look, the
same conditions see the secondary wherever in that interval it takes up. So for each interval (2) bounds v on both
sides, and (4) to (7) are half-planes in (u, v). The last interval stands for a secondary that never takes up.

u is eliminated: every lower bound of u must not exceed any upper bound of u (Fourier–Motzkin elimination),

    (r_i − b_i k − d_i K − c_i v)/a_i ≤ (r_j − b_j k − d_j K − c_j v)/a_j   for a_i > 0 > a_j      (9)

where condition i reads a u + b k + c v + d K ≥ r. Each instance is linear in v, so what is left of v is an interval. A
pair reaches the margin exactly where that interval is not empty for some interval of take-up. No step has a start, a
scan or a tolerance on springs and settings. It is done for all ordered pairs of a catalogue as arrays.

Feasible pairs at a margin are feasible at any smaller one: the same springs on the same posts, with the smaller stop
of (8), meet wider bands. So bisection on M ends at the best margin over all pairs, here to 0.001. It drops failing
pairs on the way. Where no pair reaches 0, negative margins are tried, doubling.

Most pairs are settled sooner. For a block of primaries, (9) gives lines in K that bound v; where these leave no v, the
pair is out. Where one of five tried settings meets every condition, it is in. Only the rest are eliminated in full.
Bounds never exclude a feasible pair; tests/planner/test_search.py holds the search to one without bounds.

What is exact. With posts given by table, bending changes no L′, and (1) to (6) hold exactly; (7) holds at its 24
advances, and the exact curve is looked at afterwards. With posts given by points, bending changes L′ a little: hence
4.

4. Bent posts

Pairs within 0.1 of the best margin (fewer where there are more than 60; more where bending costs margin) are solved
again with both bends as unknowns. The conditions are linearised at the present bends, bisected on the margin, and
linearised again at the new bends until these stand still. Which edges lie past the take-up is given for each
candidate; where a take-up ends at an edge, the pair goes on with the edge on its other side. Of the settings that keep
the margin the one that moves the posts least is taken: a linear programme in |b₁| + |b₂|.

Every number that is reported comes from the curve of the finished unit (physics, equations 3, 5, 6), never from the
linear form, and is checked against the least energy (physics, equation 18).

5. Which build

Up to 20 pairs of the best margins are built. A stop that allows a margin of 0.5 as found is left alone. Otherwise the
stop is trimmed, least among the stops within 0.005 of the best margin. By default the pair of the highest yield
(section 8) is taken; yields within 0.02 count as equal, and then the margin decides; margins within 0.0001 count as
equal, and then the posts that move least. On request the largest margin is taken whatever the work on the stop, and
the stop is put in the middle of those of equal margin. Where the stop alone puts the target out of reach, the stop
that misses least is taken, and the bands it leaves within reach are met as well as they can be.

6. Ideal springs, and which bands fight

With u, k, v and K all free within the ranges of the trade (data/ranges.toml), (4) to (7) for one interval of take-up
are a linear programme in four numbers. The secondary takes up in the interval [α₁, α₂], with no more than the largest
pull P of the range, where

    v + K (L₂(α₂) − L₂(0)) ≥ 0,   v + K (L₂(α₁) − L₂(0)) ≤ P                                       (10)

One programme an interval says whether a margin can be had; bisection on M gives the best margin of all springs there
could be. This is global, to the step of the bisection. Condition (7) is asked at 12 advances here;
one inside the interval, which would see the secondary or not, is left to the exact curve.

Just above the best margin no springs are feasible. Let the conditions there be a_i·x ≤ b_i. The programme

    least t ≥ 0 with a_i·x ≤ b_i + t for all i                                                     (11)

has t > 0, and its multipliers λ_i ≥ 0 combine the conditions into a contradiction (duality of linear programmes). The
bands whose edges have λ_i > 0 are those that fight; where multipliers of the bounds differ from 0, the trade's ranges
have a part in it. If the ideal springs pass and no pair does, the catalogue's nearest miss is the reason.

7. Ordering window, suggestions, buying list

At a floor of the margin (half the ideal margin) the springs that serve are a union of polytopes, one for each interval
of take-up. Their shadows are what may be ordered: on a rate, on the pull at a given rate, on the plane of both rates.
Each end is found by a linear programme, so some springs attain it. A suggestion is the least change of one kind (a
band's edge, stop, post travel, mass, springs) that makes a pair feasible: bisected on the linear form, enlarged where
bent posts need it, planned in full, and dropped if the plan does not pass. The buying list varies one spring's rate or
length about the plan, posts set anew, and keeps what still reaches half the plan's margin.

8. Yield

The yield is the fraction of finished units that pass at first setting. Each simulated build draws the unit as found
from its ensemble (recurve.fit, section 8) and the errors of building, each equally likely within its ± (recurve.fit,
equation 1): the rate, initial tension and post setting of each new spring, and the stop where it is trimmed. A trimmed
stop is set by degree wheel, so what it was no longer matters. A spring that stays keeps its own state, with an error
of setting only. A build passes where both branches lie in every band and the stop in the band of the maximum.

    Y = passing builds / builds                                                                    (12)

Builds: 8192 for a plan, 2048 to compare pairs, from 2048 states of the unit. The errors are scrambled Sobol points (S.
Joe and F. Y. Kuo, SIAM Journal on Scientific Computing 30, 2008, direction numbers new-joe-kuo-6, from memory;
scrambling by J. Matoušek, Journal of Complexity 14, 1998), which fill the cube more evenly than random ones.
tests/fit/test_sobol.py holds them to SciPy's generator bit for bit. From n random states the standard error of Y would
be √(Y(1 − Y)/n), about 0.01 at most. What a source of error costs is the yield gained, on a quarter of the builds, if
that source alone were exact. The band drawn about a curve holds the middle 90 % of as many.

Another trigger: an electronic one has no drag, points have the drag of the job. Search, yield and plan are made for
the trigger that will be fitted; the curve before stays as found.

Offers:

- `build`: `Build`, `CHECK_ADVANCE`, `Checked`, `Fitted`, `make_build`
- `buying`: `Purchase`
- `changes`: `ChangeKind`
- `conversion`: `conversion_notes`
- `explain`: `out_of_reach`
- `ideal`: `find_ideal`, `Ideal`, `SpringRange`
- `plan`: `AlternativeBuild`, `Choose`, `make_plan`, `Plan`, `PlanVerdict`
- `problem`: `Problem`, `problem_of`, `spring_bounds`
- `search`: `Report`, `search`
- `simulate`: `Built`, `Forecast`, `stretch_through`
- `springset`: `Constraints`, `post_diameter`, `spring_set_of`, `SpringSet`
- `stock`: `allot`, `Allotted`, `Need`, `shared`
- `suggest`: `Suggestion`
- `wanted`: `wanted_of`, `wanted_springs`, `WantedSprings`, `Which`
- `window`: `RateWindow`, `SpringWindow`, `Window`
"""
