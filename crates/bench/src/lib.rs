//! The trade.
