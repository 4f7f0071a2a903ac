//! Published and independently computed worked examples, each with its source and tolerance in
//! `worked-examples.json`, against the mathematics.

#[cfg(test)]
mod area_a;
#[cfg(test)]
mod area_b;
#[cfg(test)]
mod area_d;
#[cfg(test)]
mod area_e;
#[cfg(test)]
mod area_h;
#[cfg(test)]
mod area_i;
#[cfg(test)]
mod area_j;
#[cfg(test)]
mod case;
