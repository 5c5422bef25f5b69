//! Enums whose variants each have one word, with conversion both ways.

/// Defines such an enum with `ALL`, `name` and `from_name`; each word is written only in its definition.
macro_rules! named {
    ($(#[$meta:meta])* $vis:vis enum $set:ident { $($(#[$doc:meta])* $variant:ident = $word:literal,)+ }) => {
        $(#[$meta])*
        #[derive(Debug, Clone, Copy, PartialEq, Eq, Hash)]
        $vis enum $set {
            $($(#[$doc])* $variant,)+
        }

        impl $set {
            /// Every variant, in the order of declaration.
            $vis const ALL: [Self; [$($word),+].len()] = [$(Self::$variant),+];

            /// The word for it, as people and programs write it.
            $vis const fn name(self) -> &'static str {
                match self {
                    $(Self::$variant => $word,)+
                }
            }

            /// The variant with this word.
            $vis fn from_name(name: &str) -> Option<Self> {
                Self::ALL.into_iter().find(|one| one.name() == name)
            }
        }
    };
}

pub(crate) use named;
