//! Quantities as people write them: a number and a unit, `42 m³`, `1 480 ft³`, `64 °F`, `250 cfm`, `6 /h`.
