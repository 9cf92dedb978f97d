"""The behaviour language: vocabulary, conditions, model, compilation, engine and analysis."""
