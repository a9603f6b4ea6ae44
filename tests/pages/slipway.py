"""A plan with a free block, an option and a load in pounds, for pages that show plans."""

from __future__ import annotations

PLAN = """\
title: Slipway threes
options: [prescribed, seated]
blocks:
  - {name: greeting, free: 1m..3m}
  - name: rope
    rounds: 2
    steps:
      - work: 20s
        tasks: [{movement: rope climb, reps: 3}]
      - rest: 10s
  - name: carry
    rounds: 1
    steps:
      - work: 30s
        tasks:
          - movement: plank carry
            metres: 40
            load_lb: {men: 40, women: 25}
            instead: {seated: {movement: band row, most: reps}}
"""
