//! Make-ups of stranded conductors that published tables list; `tests/suite/wire.rs` compares each row with its source.

/// A row: strands, diameter in hundredths of a millimetre, the size as the table writes it.
type Row = (u32, u32, &'static str);

/// A table of make-ups.
#[derive(Debug, Clone, Copy)]
pub struct Constructions {
    /// What the table is of, and how it was seen.
    pub title: &'static str,
    /// Its rows.
    rows: &'static [Row],
}

/// Every table.
pub const CONSTRUCTIONS: &[Constructions] = &[
    Constructions {
        title: "flexible conductors, class 5 (VDE 0295, IEC 60228; seen second-hand: the number of strands is not binding)",
        rows: &[
            (16, 20, "0.5 mm²"),
            (24, 20, "0.75 mm²"),
            (32, 20, "1.0 mm²"),
            (30, 25, "1.5 mm²"),
            (50, 25, "2.5 mm²"),
            (56, 30, "4.0 mm²"),
            (84, 30, "6.0 mm²"),
            (80, 40, "10.0 mm²"),
            (128, 40, "16.0 mm²"),
            (200, 40, "25.0 mm²"),
            (280, 40, "35.0 mm²"),
            (400, 40, "50.0 mm²"),
        ],
    },
    Constructions {
        title: "stranded conductors by gauge (a maker's conversion table; seen second-hand)",
        rows: &[
            (7, 10, "30 AWG"),
            (7, 13, "28 AWG"),
            (7, 16, "26 AWG"),
            (19, 10, "26 AWG"),
            (7, 20, "24 AWG"),
            (19, 13, "24 AWG"),
            (7, 32, "20 AWG"),
            (19, 20, "20 AWG"),
            (19, 25, "18 AWG"),
            (19, 29, "16 AWG"),
            (19, 36, "14 AWG"),
            (19, 46, "12 AWG"),
        ],
    },
    Constructions {
        title: "thin-wall automotive cable, symmetric conductor, type A (ISO 6722-1; seen second-hand, a cable maker's table)",
        rows: &[
            (7, 20, "0.22 mm²"),
            (7, 26, "0.35 mm²"),
            (19, 19, "0.5 mm²"),
            (19, 23, "0.75 mm²"),
            (19, 26, "1.0 mm²"),
            (19, 32, "1.5 mm²"),
            (19, 36, "2.0 mm²"),
            (19, 41, "2.5 mm²"),
        ],
    },
    Constructions {
        title: "thin-wall automotive cable, asymmetric conductor, type B (ISO 6722-1; seen second-hand, a cable maker's table)",
        rows: &[
            (12, 20, "0.35 mm²"),
            (16, 20, "0.5 mm²"),
            (24, 20, "0.75 mm²"),
            (32, 20, "1.0 mm²"),
            (30, 25, "1.5 mm²"),
            (30, 30, "2.0 mm²"),
            (50, 25, "2.5 mm²"),
            (45, 31, "3.0 mm²"),
            (56, 30, "4.0 mm²"),
            (84, 30, "6.0 mm²"),
            (126, 40, "16.0 mm²"),
        ],
    },
    Constructions {
        title: "automotive low-voltage cable by gauge (SAE J1128; seen second-hand, a cable maker's table)",
        rows: &[
            (7, 32, "20 AWG"),
            (19, 19, "20 AWG"),
            (19, 23, "18 AWG"),
            (19, 29, "16 AWG"),
            (19, 36, "14 AWG"),
            (19, 45, "12 AWG"),
            (19, 58, "10 AWG"),
            (50, 45, "8 AWG"),
        ],
    },
];

impl Constructions {
    /// The rows: strands, diameter in hundredths of a millimetre, size.
    pub fn rows(&self) -> impl Iterator<Item = Row> {
        self.rows.iter().copied()
    }
}
