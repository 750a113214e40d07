"""Case packs: what one shop gives another, without customers, cars' numbers, people or prices."""
