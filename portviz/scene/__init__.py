"""Drawing: arrays become meshes, meshes a window or a picture."""
