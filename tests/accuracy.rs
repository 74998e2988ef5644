//! Accuracy of the whole analysis against the sample's truth, over circuits and seeds.
