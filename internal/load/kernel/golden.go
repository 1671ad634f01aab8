package kernel

// golden holds the digests of the results, by shape, seed and whether the
// chain is fused. A result that was only ever computed on the machine under
// test would trust the suspect. Recomputed by TestGolden.
var golden = map[Shape][Seeds]struct{ fused, unfused uint64 }{
	Large: {
		{0x270d5df57ee9583e, 0x45b248764d9fe498},
		{0x18e42dd88ecfd003, 0x6405ca3e54328377},
		{0x25245798a24e54a4, 0x4afc8fd0cfd59f00},
		{0x8cbef952dfb3f726, 0xa48a824117fdd5e5},
	},
	Small: {
		{0x2c03f112b52568d6, 0xa8af760a5b0c8ba5},
		{0xf80c1527aea43b9b, 0xf2111f3b7e5641c3},
		{0x0129de80aa440f59, 0xc88340ff72c60582},
		{0xf7bb828b5b79cfd0, 0xab450656a2cf8b0a},
	},
	Brief: {
		{0x539854c0d982bb38, 0xb79f04a2edd5864d},
		{0x0fe0580c4240204a, 0x15bdc2abb5ddcad6},
		{0x7c02d1304e2f4ba1, 0x4efd2ec212e8489c},
		{0x42c7fe3abc0f8f23, 0x63e5fae5e9fa8d3f},
	},
}
