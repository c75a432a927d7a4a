/// Declares a group of thresholds: field, type, default, lowest and highest sensible value, unit and reason.
macro_rules! thresholds {
    ($(#[doc = $about:literal])* $name:ident $section:literal {
        $($field:ident: $ty:ty = $default:literal, $low:literal ..= $high:literal, $doc:literal;)*
    }) => {
        $(#[doc = $about])*
        #[derive(Clone, Debug, PartialEq, serde::Serialize, serde::Deserialize)]
        #[serde(default, deny_unknown_fields)]
        pub struct $name {
            $(
                #[doc = concat!($doc, " Default ", stringify!($default), ", range ", stringify!($low), " to ",
                    stringify!($high), ".")]
                pub $field: $ty,
            )*
        }

        impl Default for $name {
            fn default() -> Self {
                Self { $($field: $default,)* }
            }
        }

        impl $name {
            pub(crate) fn check(&self) -> Result<(), $crate::config::ConfigError> {
                $($crate::config::within(concat!($section, ".", stringify!($field)), self.$field as f64,
                    $low as f64, $high as f64)?;)*
                Ok(())
            }
        }
    };
}
pub(crate) use thresholds;
