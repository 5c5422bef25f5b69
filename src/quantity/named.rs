//! Closed sets of names: an enum whose variants each stand for one word, both ways.

/// Defines an enum of such variants, with `ALL`, `name` and `from_name`; each word stands here and nowhere else.
macro_rules! named {
    ($(#[$meta:meta])* $vis:vis enum $set:ident { $($(#[$doc:meta])* $variant:ident = $word:literal,)+ }) => {
        $(#[$meta])*
        #[derive(Debug, Clone, Copy, PartialEq, Eq, Hash)]
        $vis enum $set {
            $($(#[$doc])* $variant,)+
        }

        impl $set {
            /// Every one, in this order.
            $vis const ALL: [Self; [$($word),+].len()] = [$(Self::$variant),+];

            /// The word for it, as people and programs write it.
            $vis const fn name(self) -> &'static str {
                match self {
                    $(Self::$variant => $word,)+
                }
            }

            /// The one that this word stands for.
            $vis fn from_name(name: &str) -> Option<Self> {
                Self::ALL.into_iter().find(|one| one.name() == name)
            }
        }
    };
}

pub(crate) use named;
