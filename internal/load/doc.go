// Package load runs loads that check themselves, each in a process of its own:
// a load that crashes or hangs is a result, not the end of Belay.
//
//	run, err := load.Start(load.Spec{Kind: load.Scalar, Duration: time.Hour}, load.Options{
//		Progress: func(p load.Progress) { ... },
//	})
//	...
//	run.Stop()                // from anywhere; the load is gone within a second
//	result, err := run.Wait() // also without Stop: the load ends by itself
//
// The program that starts loads hands its hidden argument to Child:
//
//	if load.IsChild(os.Args) {
//		os.Exit(load.Child(os.Stdin, os.Stdout))
//	}
//
// The two processes speak JSON lines. The end of the child's input stops it,
// so it never outlives Belay. See docs/loads.md for what each load finds.
package load
