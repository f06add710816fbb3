//! Recipes: how to make an item.
