"""The test on site: where to stand, what should happen, what the answers say of the reckoning.

On paper first. The margin of one way from a unit to a person is

    m = m_open + r − 2·(l_1 + l_2 + …),

with m_open what distance, lens, masks and air leave, r what the unit's reach is off by (dB) and l what each sheet on
the way costs one way: the signal passes it twice. Ways by mirrors add as amplitudes, M = 20·log10 Σ 10^(m_i/20), so
with w_i the share of way i in that sum

    dM/dr = 1,        dM/dl_c = −2·Σ w_i·n_ic,

n_ic how often way i crosses the construction c. One dB of reach moves every margin of a model alike; one dB of a wall
moves what lies behind it by −2, what lies behind two of them by −4, and the rest not at all. Points on one side of a
wall tell nothing but r − 2·l: it takes points before and behind it to tell one from the other.

An answer is yes with the chance λ/2 + (1 − λ)·Φ(M/σ): σ for what differs from step to step (where exactly the feet
stand, how the body is turned, how the floor's reflections add up), λ for a tick in the wrong row. Far from the edge an
answer says little (both outcomes are as good as certain), at the edge most: φ(M/σ)²/(P·(1 − P)) is greatest at 0.
"""
